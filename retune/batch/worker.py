"""The process that converts files for a batch: portions of tasks come in by a pipe, rows go out by another.

It lives no longer than the pipe does: when whoever started it closes that, or is gone in whatever way, it ends at
once, and a file that is being written is left whole or not at all.
"""

from __future__ import annotations

import os
import pickle
import signal
import threading
from queue import SimpleQueue
from typing import BinaryIO

from retune.batch import preload  # noqa: F401  # the stages, before there is work for them
from retune.batch.work import Task, run_task


def serve() -> None:
    """Convert what comes on standard input, until that ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # who started it hears the interrupt, too, and ends the pipe
    pipe, rows = os.fdopen(os.dup(0), "rb"), _own_output()
    portions: SimpleQueue[list[Task]] = SimpleQueue()
    threading.Thread(target=_receive, args=(pipe, portions), daemon=True).start()
    try:
        while True:
            for task in portions.get():
                pickle.dump(run_task(task), rows)
                rows.flush()
    except (SystemExit, OSError):  # a termination signal while a file was written; or nobody reads the rows
        os._exit(1)  # without a wait for the thread that reads


def _own_output() -> BinaryIO:
    """Standard output, for the rows alone: what a library may print goes to standard error."""
    rows = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    return rows


def _receive(pipe: BinaryIO, portions: SimpleQueue[list[Task]]) -> None:
    """Hand on what comes by the pipe; end this process when the pipe ends, in the middle of a conversion, too."""
    try:
        while True:
            portions.put(pickle.load(pipe))
    except (EOFError, OSError, pickle.UnpicklingError):
        os.kill(
            os.getpid(), signal.SIGTERM
        )  # heard by `retune.files` while it writes; the end at any other time


if __name__ == "__main__":
    serve()

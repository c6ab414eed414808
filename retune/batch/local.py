"""A batch on the cores of this machine."""

from __future__ import annotations

import contextlib
import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Generator, Iterator, Sequence
from queue import SimpleQueue

from retune.batch.manifest import Row
from retune.batch.work import Task, expected_seconds, refused, run_task
from retune.errors import OptionError

SECONDS_AT_ONCE = (
    0.05  # so much work is handed out together: the cost of that, and of its rows, is that of one task
)
AHEAD = 2  # with fewer small files left a process gets the next portion, so that it need not wait for it
CRASHES_ALLOWED = 2  # a file that takes its process down this often, alone, is given up
END_SECONDS = 5  # a process that has not ended by then is stopped by force
ENDED = (EOFError, OSError, pickle.UnpicklingError)
"""What reading or writing a pipe raises whose other end is gone."""


def run_local(tasks: Sequence[Task], jobs: int) -> Generator[Row, None, None]:
    """Rows of the tasks as they finish, by `jobs` processes (1: in this one).

    A process that dies (out of memory, killed) is replaced; the files it held are done again, each alone, and a
    file that does it twice is refused. When the generator is closed, or an interrupt or a termination signal ends
    it, no process is left, nor one when this program is killed.
    """
    if jobs <= 1 or len(tasks) <= 1:
        yield from map(run_task, tasks)
        return
    rows: SimpleQueue[Row | BaseException] = SimpleQueue()
    waiting = _Shared(_portions(tasks))
    hands = [_Hand(waiting, rows) for _ in range(min(jobs, len(tasks)))]
    try:
        for hand in hands:
            hand.start()
        for _ in tasks:
            row = rows.get()
            if isinstance(row, BaseException):
                raise row
            yield row
    finally:
        _end(hands)


class _Shared:
    """An iterator that several threads may ask."""

    def __init__(self, portions: Iterator[list[Task]]) -> None:
        self._portions = portions
        self._lock = threading.Lock()

    def next(self) -> list[Task] | None:
        """The next portion, None when there is none left."""
        with self._lock:
            return next(self._portions, None)


class _Hand(threading.Thread):
    """A thread with a process of its own, to which it hands portions and whose rows it passes on.

    Plain processes and pipes: nothing is shared with them that could be left behind or locked when one of the two
    sides dies, and a program that calls `run_batch` needs no `if __name__ == "__main__":`.
    """

    def __init__(self, waiting: _Shared, rows: SimpleQueue[Row | BaseException]) -> None:
        super().__init__(daemon=True)
        self._waiting = waiting
        self._rows = rows
        self._process: subprocess.Popen[bytes] | None = None
        self._stopped = False

    def run(self) -> None:
        """Convert what is waiting, as long as there is any."""
        _leave_interrupts_to_the_main_thread()
        try:
            while not self._stopped and (held := self._handed_out()):
                for task in held:  # what a process held that died
                    self._rows.put(self._alone(task))
        except BaseException as error:  # a fault of ours, for the main thread to raise
            self._rows.put(error)
        finally:
            self._close()

    def stop(self) -> None:
        """End the process, in the middle of a conversion, too; `join` waits until it has ended."""
        self._stopped = True
        if self._process is not None:
            self._process.terminate()

    def kill(self) -> None:
        """End the process by force."""
        if self._process is not None:
            self._process.kill()

    def _handed_out(self) -> list[Task]:
        """Let the process convert what is waiting; return what it held when it died, nothing if all was done."""
        held: deque[Task] = deque()
        wanted = 1
        with contextlib.suppress(*ENDED):
            while True:
                while len(held) < wanted and (portion := self._waiting.next()):
                    held.extend(portion)
                    self._send(portion)
                    wanted = AHEAD if len(portion) > 1 else 1  # a large file waits for a process that is free
                if not held:
                    return []
                self._rows.put(self._receive())
                held.popleft()
        self._close()
        return [] if self._stopped else list(held)

    def _alone(self, task: Task) -> Row | BaseException:
        """The row of a task that a process does alone, which may die of it."""
        for _ in range(CRASHES_ALLOWED):
            try:
                self._send([task])
                return self._receive()
            except ENDED:
                self._close()
        reason = "the process that converted it was stopped by the system (out of memory?)"
        return refused(task, reason)

    def _send(self, portion: list[Task]) -> None:
        if self._stopped:
            raise EOFError
        if self._process is None:
            self._process = _worker()
            if self._stopped:  # meanwhile
                self._process.terminate()
        assert self._process.stdin is not None
        pickle.dump(portion, self._process.stdin)
        self._process.stdin.flush()

    def _receive(self) -> Row:
        assert self._process is not None
        assert self._process.stdout is not None
        row: Row = pickle.load(self._process.stdout)
        return row

    def _close(self) -> None:
        """Close the pipes, at which the process ends, and wait for that."""
        if self._process is None:
            return
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            with contextlib.suppress(OSError):
                pipe.close()
        self._process.wait()
        self._process = None


def _worker() -> subprocess.Popen[bytes]:
    """Start a process that converts what comes by its pipe, with the modules of this one. Raises `OptionError`."""
    modules = os.pathsep.join(map(os.path.abspath, sys.path))
    try:
        return subprocess.Popen(
            [sys.executable, "-P", "-m", "retune.batch.worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": modules, "OPENBLAS_NUM_THREADS": "1"},
        )
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise OptionError(
            f"jobs: no more processes can be started ({reason}); say a smaller number"
        ) from None


def _end(hands: Sequence[_Hand]) -> None:
    """End the processes, and wait until they have."""
    for hand in hands:
        hand.stop()
    deadline = time.monotonic() + END_SECONDS
    for hand in hands:
        if hand.ident is not None:  # it was started
            hand.join(max(0.0, deadline - time.monotonic()))
            if hand.is_alive():
                hand.kill()


def _leave_interrupts_to_the_main_thread() -> None:
    """Block interrupts in this thread, and by inheritance in the processes it starts, from their first moment."""
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})


def _portions(tasks: Sequence[Task]) -> Iterator[list[Task]]:
    """The tasks in portions of about `SECONDS_AT_ONCE`; a longer one is alone."""
    portion: list[Task] = []
    seconds = 0.0
    for task in tasks:
        more = expected_seconds(task.job)
        if portion and seconds + more > SECONDS_AT_ONCE:
            yield portion
            portion, seconds = [], 0.0
        portion.append(task)
        seconds += more
    if portion:
        yield portion

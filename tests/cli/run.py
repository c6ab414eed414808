"""Run the command line as a user would: in a process of its own, or in this one."""

from __future__ import annotations

import contextlib
import io
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from retune.cli.main import main

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_scores"
HYMN = str(SAMPLES / "evening_hymn.mid")


@dataclass(frozen=True)
class Result:
    status: int
    out: bytes
    err: str

    @property
    def text(self) -> str:
        return self.out.decode()


class _Out(io.TextIOWrapper):
    """A standard stream in memory, with the binary stream below it."""

    def __init__(self) -> None:
        super().__init__(io.BytesIO(), encoding="utf-8", newline="")

    def bytes(self) -> bytes:
        self.flush()
        return self.buffer.getvalue()


def run(*arguments: object, stdin: bytes = b"") -> Result:
    """Call `main` here, with streams in memory."""
    out, err = _Out(), _Out()
    before, sys.stdin = sys.stdin, io.TextIOWrapper(io.BytesIO(stdin), encoding="utf-8")
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = main([str(argument) for argument in arguments])
    finally:
        sys.stdin = before
    return Result(status, out.bytes(), err.bytes().decode())


def refused(arguments: Sequence[object], message: str, folder: Path) -> None:
    """`convert` with these arguments says one line, exits with 2, and leaves nothing in the folder it runs in."""
    result = run("convert", *arguments)
    assert (result.status, result.out, result.err.count("\n")) == (2, b"", 1)
    assert message in result.err
    assert list(folder.iterdir()) == []


def process(*arguments: object, stdin: bytes = b"", timeout: float = 60) -> Result:
    """Start `python -m retune` as a process of its own."""
    command = [sys.executable, "-m", "retune", *(str(argument) for argument in arguments)]
    done = subprocess.run(command, input=stdin, capture_output=True, timeout=timeout, check=False)
    return Result(done.returncode, done.stdout, done.stderr.decode())

"""A file of lines that several runs may add to at once: the rows of a batch."""

from __future__ import annotations

import contextlib
import errno
import os
import stat
from collections.abc import Callable
from pathlib import Path
from types import TracebackType

from retune.errors import OutputError
from retune.files import refuse_output, write_atomically

try:
    import fcntl
except ImportError:  # not a POSIX system: lines are added all the same, but nothing is tidied
    fcntl = None  # type: ignore[assignment]


class LineFile:
    """A file that any number of runs may add lines to at once; each line gets there whole or not at all.

    Every run holds a shared lock on the file as long as it is open, or the only one with `alone`. It is a lock of
    the system on the open file, which goes when the run does, however that ends: none is left behind.

    Raises `OutputError` if the file cannot be written, or another run has it and one of the two wants to be alone.
    """

    def __init__(self, path: str | os.PathLike[str], *, alone: bool = False) -> None:
        self.path = Path(path)
        try:
            self._handle = self._opened(alone)
            self._end_torn_line()
        except OSError as error:
            refuse_output(path, error)

    def _opened(self, alone: bool) -> int:
        """Open and lock the file; again if another run put a new one in its place meanwhile."""
        while True:
            flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0)
            handle = os.open(self.path, flags, 0o666)
            if not stat.S_ISREG(os.fstat(handle).st_mode):
                return handle  # a device or pipe takes any number of runs
            with contextlib.suppress(OSError):  # a file system without locks: lines are whole all the same
                if not _locked(handle, alone=alone, wait=not alone):
                    os.close(handle)
                    raise OutputError(f"{self.path}: another run is writing to this file; name another one")
            with contextlib.suppress(FileNotFoundError):
                if os.path.samestat(os.fstat(handle), os.stat(self.path)):
                    return handle
            os.close(handle)

    def _end_torn_line(self) -> None:
        """Let no line begin behind the torn one that a run may have left that was killed."""
        if self.path.is_file() and self.path.stat().st_size:
            with self.path.open("rb") as file:
                file.seek(-1, os.SEEK_END)
                torn = file.read(1) != b"\n"
            if torn:
                self.add(b"\n")

    def add(self, line: bytes) -> None:
        """Add a line, given with its end. Raises `OutputError`."""
        try:
            while line:
                line = line[os.write(self._handle, line) :]
        except OSError as error:
            refuse_output(self.path, error)

    def clear(self) -> None:
        """Take all lines out of the file; a device or pipe stays as it is."""
        if stat.S_ISREG(os.fstat(self._handle).st_mode):
            os.ftruncate(self._handle, 0)

    def tidy(self, tidied: Callable[[bytes], bytes]) -> None:
        """Give the file the content `tidied` makes of it, if that can be done and no other run has it open.

        The file is closed as soon as that is settled: nothing may be added to it afterwards.
        """
        with self, contextlib.suppress(OSError, OutputError):
            if not _locked(self._handle, alone=True, wait=False):
                return
            content = self.path.read_bytes()
            if (new := tidied(content)) != content:
                write_atomically(self.path, new)

    def close(self) -> None:
        """Close the file, and with it give up the lock."""
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1

    def __enter__(self) -> LineFile:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()


def _locked(handle: int, *, alone: bool, wait: bool) -> bool:
    """Whether the file is locked now, for this run alone or with others. Raises `OSError` where there are no locks."""
    if fcntl is None:
        raise OSError(errno.ENOLCK, "no locks")
    try:
        fcntl.flock(handle, (fcntl.LOCK_EX if alone else fcntl.LOCK_SH) | (0 if wait else fcntl.LOCK_NB))
    except BlockingIOError:
        return False
    return True

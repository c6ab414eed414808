"""The edge to the file system: reading the input, writing results whole or not at all.

This is the only module that opens files of the user for writing; the rows of a batch, which are added one by one,
have `retune.batch.lines`.
"""

from __future__ import annotations

import contextlib
import errno
import os
import signal
import stat
import sys
import threading
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from types import FrameType
from typing import NoReturn

from retune.errors import InputError, OutputError

try:
    import fcntl
except ImportError:  # not a POSIX system: nobody can tell whether the writer of a temporary file is gone
    fcntl = None  # type: ignore[assignment]

STANDARD_STREAM = "-"
TERMINATIONS = {
    128 + number: number for name in ("SIGTERM", "SIGHUP") if (number := getattr(signal, name, None))
}
"""Exit status → signal: told to end, terminal closed; statuses as shells count (common practice, no source)."""
TEMPORARY = (".retune-", ".tmp")
"""How the name of a temporary file begins and ends."""
MOST_INPUT_BYTES = 256 << 20  # far above any MIDI file; keeps a wrong name from filling the memory


def called(path: str) -> str:
    """Return how messages call an input: by its name, and "-" standard input."""
    return "standard input" if path == STANDARD_STREAM else path


def read_input(path: str | os.PathLike[str], *, of_folder: str = "name a file in it") -> bytes:
    """Return the bytes of a file, or of standard input for "-"; `of_folder` is what to do if it is a folder.

    Raises
    ------
    InputError
        If the file is missing, is a folder, may not be read, or holds more than 256 MB.

    """
    name = os.fspath(path)
    if not name:
        raise InputError("the name of an input is empty; say which file to read")
    try:
        if name == STANDARD_STREAM:
            name = "standard input"
            if sys.stdin is None:
                raise InputError("standard input: it is closed; name a file, or send one through a pipe")
            data = sys.stdin.buffer.read(MOST_INPUT_BYTES + 1)
        else:
            with open(name, "rb") as file:
                data = file.read(MOST_INPUT_BYTES + 1)
    except FileNotFoundError:
        raise InputError(f"{name}: no such file; check the name and the folder") from None
    except IsADirectoryError:
        raise InputError(f"{name}: this is a folder; {of_folder}") from None
    except PermissionError:
        raise InputError(f"{name}: no permission to read the file; check its rights") from None
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        raise InputError(f"{name!s}: cannot be read ({_reason(error)})") from None
    if len(data) > MOST_INPUT_BYTES:
        raise InputError(f"{name}: more than {MOST_INPUT_BYTES >> 20} MB; this is no MIDI file")
    return data


def write_output(path: str | os.PathLike[str], data: bytes) -> None:
    """Write a result to a file (see `write_atomically`), or to standard output for "-"."""
    if os.fspath(path) != STANDARD_STREAM:
        write_atomically(path, data)
        return
    if sys.stdout is None:
        raise OutputError("standard output: it is closed; name a file")
    try:
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
    except OSError as error:
        raise OutputError(f"standard output: cannot be written ({_reason(error)})") from None


def write_atomically(path: str | os.PathLike[str], data: bytes, *, durable: bool = True) -> None:
    """Write a file so that at any moment either the old or the whole new content is there.

    The data go to a temporary file in the same folder, which takes the place of the file only when it is
    complete on disk. Whatever ends the writing early (a full disk, an interrupt, a termination signal)
    removes it. An existing file keeps its access rights; a link is followed; a device or pipe is written
    to as it is.

    With `durable` the content outlasts a power cut from the moment this returns, at the price of waiting for
    the disk (several milliseconds a file). Without, a power cut soon after may leave the file empty: for results
    that the next run would look at and make again.

    Raises
    ------
    OutputError
        If the folder is missing, the path is a folder, or the system refuses the write.

    """
    target, mode = _target_and_mode(path)
    try:
        if mode is None or stat.S_ISREG(mode):
            _replace([(target, data, mode)], durable)
        else:
            target.write_bytes(data)
    except OSError as error:
        refuse_output(path, error)


def write_together(files: Sequence[tuple[str, bytes]], *, durable: bool = True) -> None:
    """Write files that belong together: all of them, or none.

    All are complete, under temporary names, before the first takes its own. What else holds for
    `write_atomically` holds here, but several files cannot go to a device. Raises `OutputError`.
    """
    if len(files) == 1:
        write_atomically(*files[0], durable=durable)
        return
    places = [(*_target_and_mode(path), data) for path, data in files]
    if any(mode is not None and not stat.S_ISREG(mode) for _, mode, _ in places):
        raise OutputError(f"{files[0][0]}: {len(files)} files cannot go to a device; name a file in a folder")
    try:
        _replace([(target, data, mode) for target, mode, data in places], durable)
    except OSError as error:
        refuse_output(files[0][0], error)


def make_folder(path: str) -> None:
    """Make a folder, and those it lies in, unless it is there. Raises `OutputError`."""
    try:
        os.makedirs(path, exist_ok=True)
    except FileExistsError:
        raise OutputError(f"{path}: this is a file, not a folder; choose another name") from None
    except (OSError, ValueError) as error:
        raise OutputError(f"{path}: this folder cannot be made ({_reason(error)})") from None


def _target_and_mode(path: str | os.PathLike[str]) -> tuple[Path, int | None]:
    """Where a file goes, links followed, and the mode of what is there now (None: nothing)."""
    target = Path(os.path.realpath(path))
    try:
        mode = target.stat().st_mode
    except FileNotFoundError:
        mode = None
    except (OSError, ValueError) as error:
        raise OutputError(f"{path}: cannot be written ({_reason(error)})") from None
    if mode is not None and stat.S_ISDIR(mode):
        raise OutputError(f"{path}: this is a folder; name a file in it")
    if not target.parent.is_dir():
        raise OutputError(f"{path}: the folder {target.parent} does not exist; create it first")
    return target, mode


def check_target(path: str | os.PathLike[str]) -> None:
    """Raise `OutputError` for a place where no file can be written, before any work is done for it."""
    name = os.fspath(path)
    if name == STANDARD_STREAM:
        return
    if not name:
        raise OutputError("the name of an output is empty; say where to write")
    try:
        target = Path(os.path.realpath(name))
        is_folder = target.is_dir()
        has_folder = target.parent.is_dir()
    except (OSError, ValueError) as error:
        raise OutputError(f"{name}: cannot be written ({_reason(error)})") from None
    if is_folder:
        raise OutputError(f"{name}: this is a folder; name a file in it")
    if not has_folder:
        raise OutputError(f"{name}: the folder {target.parent} does not exist; create it first")
    place = target if target.exists() else target.parent
    if not os.access(place, os.W_OK):
        code = errno.EROFS if _is_read_only(place) else errno.EACCES
        refuse_output(name, OSError(code, os.strerror(code)))


def _is_read_only(place: Path) -> bool:
    """Whether the whole file system is, where the system can tell."""
    if not hasattr(os, "statvfs"):
        return False
    return bool(os.statvfs(place).f_flag & os.ST_RDONLY)


def refuse_overwriting(
    sources: Iterable[str | os.PathLike[str]], targets: Iterable[str | os.PathLike[str] | None]
) -> None:
    """Check all targets of a run (None: not asked for) before the first is written.

    Raises `OutputError` for one that cannot be written, or is a file that is read, or the same as another.
    """
    sources = tuple(sources)
    places: set[str] = set()
    for target in targets:
        if target is None or os.fspath(target) == STANDARD_STREAM:
            continue
        check_target(target)
        for source in sources:
            refuse_same_file(source, target)
        place = os.path.realpath(target)
        if place in places and not _is_device(place):
            raise OutputError(f"{os.fspath(target)}: two results would go to this file; name two files")
        places.add(place)


def _is_device(path: str) -> bool:
    """Whether a path is no file and no folder: a device or a pipe takes any number of results."""
    return os.path.exists(path) and not os.path.isfile(path)


def refuse_same_file(source: str | os.PathLike[str], target: str | os.PathLike[str]) -> None:
    """Raise `OutputError` if writing the target would overwrite the source, by whatever names or links."""
    if STANDARD_STREAM in (os.fspath(source), os.fspath(target)):
        return
    with contextlib.suppress(OSError, ValueError):  # one of them does not exist: they are not the same
        if os.path.samefile(source, target):
            raise OutputError(f"{target}: this is the input file itself; choose another name for the output")


def _replace(files: Sequence[tuple[Path, bytes, int | None]], durable: bool) -> None:
    """Write temporary files beside their targets; when all are complete, put them in the targets' places.

    `files` holds target, data, and the mode to be kept (None: a new file).
    """
    waiting: list[tuple[Path, Path]] = []
    with termination_unwinds(), contextlib.ExitStack() as writing:
        try:
            for target, data, mode in files:
                temporary = target.parent / os.urandom(8).hex().join(TEMPORARY)
                waiting.append((temporary, target))
                writing.enter_context(_write_new(temporary, data, durable))
                if mode is not None:
                    temporary.chmod(stat.S_IMODE(mode))
            with _no_interrupt():
                for temporary, target in waiting:
                    os.replace(temporary, target)
        except BaseException:
            for temporary, _ in waiting:
                with contextlib.suppress(OSError):
                    temporary.unlink(missing_ok=True)
            raise
    if durable:
        for folder in dict.fromkeys(target.parent for _, target in waiting):
            _sync_folder(folder)


@contextlib.contextmanager
def _write_new(path: Path, data: bytes, durable: bool) -> Iterator[None]:
    """Write a file, and keep it locked, where the system can, until it has its final name."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    with open(handle, "wb") as file:
        _lock(handle)
        file.write(data)
        file.flush()
        if durable:
            os.fsync(handle)
        if fcntl is not None:
            yield
            return
    yield  # closed: no other system renames an open file


def _lock(handle: int) -> bool:
    """Lock an open file; False if another has it, or there are no locks. It goes when the file is closed."""
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (OSError, AttributeError):
        return False
    return True


def remove_abandoned(folders: Iterable[str | os.PathLike[str]]) -> None:
    """Remove the temporary files in some folders that were left by a run that was killed while it wrote."""
    for folder in folders:
        with contextlib.suppress(OSError), os.scandir(folder) as entries:
            for entry in entries:
                if entry.name.startswith(TEMPORARY[0]) and entry.name.endswith(TEMPORARY[1]):
                    _remove_if_abandoned(entry.path)


def _remove_if_abandoned(path: str) -> None:
    with contextlib.suppress(OSError):  # it has its final name by now, or is not ours
        handle = os.open(path, os.O_RDWR | getattr(os, "O_NOFOLLOW", 0))
        try:
            if _lock(handle):
                os.unlink(path)
        finally:
            os.close(handle)


@contextlib.contextmanager
def _no_interrupt() -> Iterator[None]:
    """Let signals wait for a moment, so that files that belong together appear together; in `termination_unwinds`.

    Blocking them would not do: where there is another thread the system hands them to that, and Python to this.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    _waiting.append([])
    try:
        yield
    finally:
        for number in dict.fromkeys(_waiting.pop()):
            signal.raise_signal(number)


def _sync_folder(folder: Path) -> None:
    """Make the new name last through a power cut, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


_handled: set[int] = set()
"""Signals that end the program by way of `_end`; asking the system for each file takes longer than writing it."""
_waiting: list[list[int]] = []
"""Signals that came while they were to wait."""


@contextlib.contextmanager
def termination_unwinds() -> Iterator[None]:
    """Let a signal to end, or the end of the terminal, do what an interrupt does, so that clean-up runs."""
    if _handled or threading.current_thread() is not threading.main_thread():
        yield
        return
    usual = {
        signal.SIGINT: signal.default_int_handler,
        **dict.fromkeys(TERMINATIONS.values(), signal.SIG_DFL),
    }
    ours = {number: handler for number, handler in usual.items() if signal.getsignal(number) is handler}
    try:
        for number in ours:
            _handled.add(number)
            signal.signal(number, _end)
        yield
    finally:
        _handled.clear()
        for number, handler in ours.items():
            signal.signal(number, handler)


def _end(number: int, frame: FrameType | None) -> None:
    if _waiting:
        _waiting[-1].append(number)
    elif number == signal.SIGINT:
        raise KeyboardInterrupt
    else:
        raise SystemExit(128 + number)


def refuse_output(path: str | os.PathLike[str], error: OSError) -> NoReturn:
    """Raise `OutputError` for a write that the system refused."""
    advice = {
        "EACCES": "; check the rights of the folder",
        "EPERM": "; check the rights of the folder",
        "ENOSPC": "; free some space or choose another disk",
        "EDQUOT": "; free some space or choose another disk",
        "EFBIG": "; choose another disk",
        "EROFS": "; choose another disk",
        "ENAMETOOLONG": "; choose a shorter name",
    }
    code = errno.errorcode.get(error.errno or 0, "")
    raise OutputError(f"{path}: cannot be written ({_reason(error)}){advice.get(code, '')}") from None


def _reason(error: OSError | ValueError) -> str:
    strerror = getattr(error, "strerror", None)
    return str(strerror or error).lower()

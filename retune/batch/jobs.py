"""Which files a batch converts, and where each result goes."""

from __future__ import annotations

import fnmatch
import glob
import os
import stat
import tempfile
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from retune.errors import ArgumentError, InputError, OptionError
from retune.options import CLIP_SUFFIX
from retune.wording import plain

MIDI_SUFFIXES = frozenset({".mid", ".midi", ".kar", ".rmi", ".smf"})
"""Names under which Standard MIDI Files go (common practice, no source); folders are searched for these."""

UNKNOWN_NAME = "*.mid"
"""Stands for what may be in a folder that cannot be read: reading it fails, and so the run says what it left out."""


@dataclass(frozen=True, slots=True, order=True)
class Job:
    """One file to convert."""

    source: str
    target: str


def find_jobs(sources: Iterable[str], out_dir: str, *, encoding: str = "bend") -> tuple[Job, ...]:
    """Every file named by `sources`, ordered, each with a place under `out_dir`.

    A file keeps its name, but for a suffix that does not fit what `encoding` writes; a folder keeps its tree below
    `out_dir`; a glob (`*`, `?`, `[...]`, `**`) stands for what it matches, with the tree below its fixed beginning.
    Files of a folder are those with a MIDI suffix, hidden ones and the output folder left out. A folder that may not
    be read is there as `*.mid`, to be refused among the files.

    Raises
    ------
    InputError
        For a source that does not exist or holds no MIDI file.
    OptionError
        If two files would be written to one place (on a file system that takes two names for one, also under
        those names), or a result over an input.

    """
    if isinstance(sources, str | os.PathLike):  # its letters would be taken for names
        raise ArgumentError(
            f"sources: {os.fspath(sources)!r} is one name; give a list: [{os.fspath(sources)!r}]"
        )
    out = os.path.realpath(out_dir)
    found: dict[str, str] = {}
    places: dict[str, dict[str, str]] = {}
    for source in sources:
        for path, relative in _expanded(source, out):
            target = os.path.join(out_dir, _output_name(relative, encoding))
            if os.path.realpath(target) == os.path.realpath(path):
                raise OptionError(f"{plain(path)}: would be written over itself; choose another --out-dir")
            alike = places.setdefault(_folded(target), {})
            for other, earlier in alike.items():
                if os.path.realpath(earlier) != os.path.realpath(path) and _one_place(out, other, target):
                    raise OptionError(
                        f"{plain(earlier)} and {plain(path)} would both become {plain(target)}; "
                        "convert them into folders of their own"
                    )
            found.setdefault(target, path)
            alike.setdefault(target, path)
    return tuple(sorted(Job(path, target) for target, path in found.items()))


def suits(target: str, encoding: str) -> bool:
    """Whether a result of this encoding may go by this name."""
    return (Path(target).suffix == CLIP_SUFFIX) == (encoding == "midi2")


def _folded(path: str) -> str:
    """The path as a file system sees it that heeds neither case nor how an accent is composed."""
    return unicodedata.normalize("NFC", path).casefold()


def _one_place(folder: str, one: str, other: str) -> bool:
    """Whether two paths that differ in nothing else than `_folded` are one, in a folder that may yet be made.

    Found out by trial with the parts of the names that differ: no system tells it.
    """
    if one == other:
        return True
    while not os.path.isdir(folder):
        folder = os.path.dirname(folder)
    try:
        with tempfile.TemporaryDirectory(prefix=".retune-", suffix=".tmp", dir=folder) as trial:
            pairs = zip(Path(one).parts, Path(other).parts, strict=True)
            return all(_one_name(trial, *pair) for pair in pairs if pair[0] != pair[1])
    except OSError:  # nothing can be written there, which is told later
        return False


def _one_name(folder: str, one: str, other: str) -> bool:
    Path(folder, one).touch()
    return os.path.exists(os.path.join(folder, other))


def _expanded(source: str, out: str) -> list[tuple[str, str]]:
    """(path, path below its root) of every file a source stands for."""
    if os.path.isdir(source):
        found = [(path, os.path.relpath(path, source)) for path in _walk(source, out)]
        if not found:
            raise InputError(f"{plain(source)}: no MIDI files in this folder (.mid, .midi, .kar, .rmi, .smf)")
        return found
    if _waits(source):
        raise InputError(
            f"{plain(source)}: this is a pipe or a device, which has no name for a result; use -o"
        )
    if os.path.exists(source):
        return [(source, os.path.basename(source))]
    if glob.has_magic(source):
        root, pattern = _fixed_beginning(source)
        found = []
        for match in dict.fromkeys(_matches(root, pattern)):
            files = _walk(match, out) if os.path.isdir(match) else [] if _waits(match) else [match]
            found += [(path, os.path.relpath(path, root or ".")) for path in files if not _below(path, out)]
        if found:
            return found
        raise InputError(f"{plain(source)}: nothing matches; check the pattern and the folder")
    raise InputError(f"{plain(source)}: no such file or folder; check the name")


def _walk(folder: str, out: str) -> list[str]:
    """MIDI files below a folder; for a folder that may not be read, a name in it that will be refused."""
    found: list[str] = []

    def unreadable(error: OSError) -> None:
        found.append(os.path.join(os.fsdecode(error.filename), UNKNOWN_NAME))

    for here, folders, files in os.walk(folder, onerror=unreadable):
        folders[:] = sorted(
            name
            for name in folders
            if not name.startswith(".") and os.path.realpath(os.path.join(here, name)) != out
        )
        found += [
            os.path.join(here, name)
            for name in sorted(files)
            if not name.startswith(".")
            and Path(name).suffix.lower() in MIDI_SUFFIXES
            and not _waits(os.path.join(here, name))
        ]
    return found


def _matches(folder: str, pattern: Sequence[str]) -> Iterator[str]:
    """Paths below a folder that match the parts of a pattern, ordered; hidden ones only where a part asks for them.

    `**` stands for any number of folders. Unlike the standard library's it goes through no links, with which a
    folder may hold itself, in more ways than could ever be walked.
    """
    if not pattern:
        yield from [folder] if folder else ()
        return
    part, rest = pattern[0], pattern[1:]
    if part == "**":
        if _forbidden(folder):
            yield os.path.join(folder, UNKNOWN_NAME)
            return
        yield from _matches(folder, rest)
        for name in _names(folder):
            path = os.path.join(folder, name)
            if name.startswith("."):
                continue
            if os.path.isdir(path) and not os.path.islink(path):
                yield from _matches(path, pattern)
            elif not rest:
                yield path
    elif glob.has_magic(part):
        for name in fnmatch.filter(_names(folder), part):
            if part.startswith(".") or not name.startswith("."):
                yield from _matches(os.path.join(folder, name), rest)
    elif os.path.lexists(os.path.join(folder, part)):
        yield from _matches(os.path.join(folder, part), rest)


def _waits(path: str) -> bool:
    """True for a pipe, a socket or a device, where a reader may wait forever."""
    try:
        mode = os.stat(path).st_mode
    except (OSError, ValueError):
        return False
    return not (stat.S_ISREG(mode) or stat.S_ISDIR(mode))


def _forbidden(folder: str) -> bool:
    """Whether a folder is there that may not be read."""
    try:
        with os.scandir(folder or "."):
            return False
    except PermissionError:
        return True
    except OSError:
        return False


def _names(folder: str) -> list[str]:
    try:
        return sorted(os.listdir(folder or "."))
    except OSError:  # no folder, or not ours to read
        return []


def _fixed_beginning(pattern: str) -> tuple[str, tuple[str, ...]]:
    """The folder a pattern starts from, "" for the current one, and the parts of the pattern below it."""
    parts = Path(pattern).parts
    fixed = 0
    while fixed < len(parts) - 1 and not glob.has_magic(parts[fixed]):
        fixed += 1
    return os.path.join("", *parts[:fixed]), parts[fixed:]


def _below(path: str, folder: str) -> bool:
    return os.path.realpath(path).startswith(folder + os.sep)


def _output_name(relative: str, encoding: str) -> str:
    """Name of the result: the input's, with the suffix of what is written."""
    path = Path(relative)
    if encoding == "midi2":
        return str(path.with_suffix(CLIP_SUFFIX))
    return str(path if path.suffix.lower() in (".mid", ".midi") else path.with_suffix(".mid"))

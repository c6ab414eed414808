"""Which files a batch converts, and where each result goes."""

from __future__ import annotations

import glob
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from retune.errors import InputError, OptionError
from retune.wording import plain

MIDI_SUFFIXES = frozenset({".mid", ".midi", ".kar", ".rmi", ".smf"})
"""Names under which Standard MIDI Files go (common practice, no source); folders are searched for these."""


@dataclass(frozen=True, slots=True, order=True)
class Job:
    """One file to convert."""

    source: str
    target: str


def find_jobs(sources: Iterable[str], out_dir: str) -> tuple[Job, ...]:
    """Every file named by `sources`, ordered, each with a place under `out_dir`.

    A file keeps its name; a folder keeps its tree below `out_dir`; a glob (`*`, `?`, `[...]`, `**`) stands for
    what it matches, with the tree below its fixed beginning. Files of a folder are those with a MIDI suffix,
    hidden ones and the output folder left out.

    Raises
    ------
    InputError
        For a source that does not exist or holds no MIDI file.
    OptionError
        If two files would be written to one place, or a result over an input.

    """
    out = os.path.realpath(out_dir)
    places: dict[str, str] = {}
    for source in sources:
        for path, relative in _expanded(source, out):
            target = os.path.join(out_dir, _output_name(relative))
            earlier = places.setdefault(target, path)
            if os.path.realpath(earlier) != os.path.realpath(path):
                raise OptionError(
                    f"{plain(earlier)} and {plain(path)} would both become {plain(target)}; "
                    "convert them into folders of their own"
                )
            if os.path.realpath(target) == os.path.realpath(path):
                raise OptionError(f"{plain(path)}: would be written over itself; choose another --out-dir")
    return tuple(sorted(Job(path, target) for target, path in places.items()))


def _expanded(source: str, out: str) -> list[tuple[str, str]]:
    """(path, path below its root) of every file a source stands for."""
    if os.path.isdir(source):
        found = [(path, os.path.relpath(path, source)) for path in _walk(source, out)]
        if not found:
            raise InputError(f"{plain(source)}: no MIDI files in this folder (.mid, .midi, .kar, .rmi, .smf)")
        return found
    if os.path.exists(source):
        return [(source, os.path.basename(source))]
    if glob.has_magic(source):
        root = _fixed_beginning(source)
        found = []
        for match in sorted(glob.glob(source, recursive=True)):
            files = _walk(match, out) if os.path.isdir(match) else [match]
            found += [(path, os.path.relpath(path, root)) for path in files if not _below(path, out)]
        if found:
            return found
        raise InputError(f"{plain(source)}: nothing matches; check the pattern and the folder")
    raise InputError(f"{plain(source)}: no such file or folder; check the name")


def _walk(folder: str, out: str) -> list[str]:
    found = []
    for here, folders, files in os.walk(folder):
        folders[:] = sorted(
            name
            for name in folders
            if not name.startswith(".") and os.path.realpath(os.path.join(here, name)) != out
        )
        found += [
            os.path.join(here, name)
            for name in sorted(files)
            if not name.startswith(".") and Path(name).suffix.lower() in MIDI_SUFFIXES
        ]
    return found


def _fixed_beginning(pattern: str) -> str:
    parts = Path(pattern).parts
    fixed = 0
    while fixed < len(parts) - 1 and not glob.has_magic(parts[fixed]):
        fixed += 1
    return os.path.join(*parts[:fixed]) if fixed else "."


def _below(path: str, folder: str) -> bool:
    return os.path.realpath(path).startswith(folder + os.sep)


def _output_name(relative: str) -> str:
    """Name of the result: the input's, with the suffix of what is written."""
    path = Path(relative)
    return str(path if path.suffix.lower() in (".mid", ".midi") else path.with_suffix(".mid"))

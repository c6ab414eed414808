"""The manifest: one row a file, as JSON lines, streamed while the batch runs.

The same rows let a later run skip what is up to date: they hold the hashes of what went in and what came out.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import IO, Any

from retune import __version__
from retune.errors import OutputError
from retune.options import Options

FORMAT = 1
STATE_NAME = ".retune-state.jsonl"
"""File in the output folder that remembers what was converted from what."""

CONVERTED, MENDED, REFUSED, UP_TO_DATE = "converted", "mended", "refused", "up to date"


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What became of one file."""

    source: str
    target: str
    status: str  # CONVERTED, MENDED (converted after repair), REFUSED or UP_TO_DATE
    reason: str = ""  # why it was refused
    input_sha256: str = ""
    output_sha256: dict[str, str] = field(default_factory=dict)  # file written → hash
    recipe: str = ""  # hash of options, plan and version
    figures: dict[str, Any] = field(default_factory=dict)  # the check's figures after retuning
    remarks: list[str] = field(default_factory=list)
    seconds: float = 0.0

    @property
    def ok(self) -> bool:
        """Whether the result is there."""
        return self.status != REFUSED

    def as_line(self) -> str:
        """The row as one line of JSON, in ASCII: a file name need not be Unicode, and JSON can escape it."""
        return json.dumps({"format": FORMAT, "retune": __version__, **asdict(self)}) + "\n"


def recipe_of(options: Options, plan_text: str = "") -> str:
    """Hash of everything beside the input that decides the output: version, options, plan."""
    content = f"{__version__}\n{sorted(asdict(options).items())!r}\n{plan_text}"
    return hashlib.sha256(content.encode()).hexdigest()


def sha256(data: bytes) -> str:
    """Hash of some bytes, as hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def read_rows(path: Path) -> dict[str, Row]:
    """Rows of a manifest by source; the last row of a source counts, unreadable lines are passed over.

    A line may be torn because a run was interrupted: what it said is then done again.
    """
    rows: dict[str, Row] = {}
    try:
        lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return rows
    names = set(Row.__dataclass_fields__)
    for line in lines:
        try:
            values = json.loads(line)
            row = Row(**{k: v for k, v in values.items() if k in names})
        except (ValueError, TypeError, AttributeError):
            continue
        rows[row.source] = row
    return rows


class RowWriter:
    """Streams rows to files, a whole line at a time, so that an interrupted run leaves what was done."""

    def __init__(self, paths: Iterable[Path]) -> None:
        self._files: list[IO[bytes]] = []
        for path in paths:
            try:
                self._files.append(path.open("ab", buffering=0))
            except OSError as error:
                self.close()
                raise OutputError(f"{path}: cannot be written ({(error.strerror or '').lower()})") from None

    def add(self, row: Row) -> None:
        """Write a row to every file."""
        line = row.as_line().encode()
        for file in self._files:
            file.write(line)

    def close(self) -> None:
        """Close the files."""
        for file in self._files:
            file.close()

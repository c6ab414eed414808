"""The manifest: one row a file, as JSON lines, streamed while the batch runs.

The same rows let a later run skip what is up to date: they hold the hashes of what went in and what came out.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from retune import __version__
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
    options: dict[str, Any] = field(default_factory=dict)  # as obeyed
    figures: dict[str, Any] = field(default_factory=dict)  # the check's figures after retuning
    remarks: list[str] = field(default_factory=list)
    seconds: float = 0.0

    @property
    def ok(self) -> bool:
        """Whether the result is there."""
        return self.status != REFUSED

    def as_line(self) -> str:
        """The row as one line of JSON, in ASCII: a file name need not be Unicode, and JSON can escape it."""
        values = {name: getattr(self, name) for name in self.__slots__}
        return json.dumps({"format": FORMAT, "retune": __version__, **values}) + "\n"


def recipe_of(options: Options, plan_text: str = "") -> str:
    """Hash of everything beside the input that decides the output: version, options, plan."""
    content = f"{__version__}\n{sorted(asdict(options).items())!r}\n{plan_text}"
    return hashlib.sha256(content.encode()).hexdigest()


def sha256(data: bytes) -> str:
    """Hash of some bytes, as hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def read_rows(path: Path) -> dict[str, Row]:
    """Rows of a manifest by source, none if it cannot be read; see `parse_rows`."""
    try:
        return parse_rows(path.read_bytes())
    except OSError:
        return {}


def parse_rows(content: bytes) -> dict[str, Row]:
    """Rows of the text of a manifest by source; the last row of a source counts, unreadable lines are passed over.

    A line may be torn because a run was interrupted: what it said is then done again.
    """
    rows: dict[str, Row] = {}
    names = set(Row.__dataclass_fields__)
    for line in content.decode("utf-8", errors="replace").splitlines():
        try:
            values = json.loads(line)
            row = Row(**{k: v for k, v in values.items() if k in names})
        except (ValueError, TypeError, AttributeError):
            continue
        rows[row.source] = row
    return rows


def tidied(content: bytes) -> bytes:
    """The text of a manifest with one line a source, ordered; the same text if it has no more than that."""
    rows = parse_rows(content)
    if content.count(b"\n") == len(rows):
        return content
    return "".join(rows[source].as_line() for source in sorted(rows)).encode()

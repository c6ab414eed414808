"""What commands print: JSON, remarks, and what was written."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import click

from retune.files import STANDARD_STREAM
from retune.wording import plain

if TYPE_CHECKING:
    from retune.errors import Remark

SHOWN_REMARKS = 5  # of one kind; reports and manifests have them all


def to_json(content: Any) -> bytes:
    """Return a value as one line of JSON in UTF-8; numbers that are not finite have no place in it."""
    compact = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    try:
        return compact.encode(content).encode() + b"\n"
    except UnicodeEncodeError:  # a file name that is not Unicode: JSON can escape it
        return json.dumps(content, separators=(",", ":"), allow_nan=False).encode() + b"\n"


def print_json(content: Any) -> None:
    """Print a value as one JSON document on stdout, in UTF-8 whatever the terminal speaks."""
    click.echo(to_json(content), nl=False)


def print_remarks(remarks: Iterable[Remark], *, name: str = "", quiet: bool = False) -> None:
    """Print each remark as one line on stderr; of a long row of one kind only the first, and how many follow."""
    if quiet:
        return
    prefix = f"{plain(name)}: " if name else ""
    remarks = tuple(remarks)
    number_of, shown = Counter(remark.code for remark in remarks), Counter[str]()
    for remark in remarks:
        shown[remark.code] += 1
        if shown[remark.code] <= SHOWN_REMARKS:
            print(f"retune: {prefix}{plain(str(remark))}", file=sys.stderr)
        elif shown[remark.code] == SHOWN_REMARKS + 1:
            more = number_of[remark.code] - SHOWN_REMARKS
            print(f"retune: {prefix}and {more} more like these ({remark.code})", file=sys.stderr)


def print_written(path: str, *, quiet: bool = False) -> None:
    """Say on stdout that a file was written, unless stdout is what was written to."""
    if not quiet and path != STANDARD_STREAM:
        click.echo(f"written: {plain(path)}")

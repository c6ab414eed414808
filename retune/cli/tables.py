"""Tables as plain text: columns under each other, wide enough for their widest cell, no lines or colours."""

from __future__ import annotations

from typing import TYPE_CHECKING

from retune.wording import plain

if TYPE_CHECKING:
    from collections.abc import Sequence

NOTHING = "–"  # where there is no figure


def table(headers: Sequence[str], rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> str:
    """Return rows under their headers, a line each; the columns in `right` (from 0) stand to the right."""
    lines = [[plain(cell) for cell in row] for row in (headers, *rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(headers))]
    text = []
    for line in lines:
        cells = [
            cell.rjust(width) if column in right else cell.ljust(width)
            for column, (cell, width) in enumerate(zip(line, widths, strict=True))
        ]
        text.append("  ".join(cells).rstrip() + "\n")
    return "".join(text)


def cents(value: float) -> str:
    """Return a signed number of cents with one digit: `+1.9`, `-13.7`, `0.0`."""
    text = f"{value:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text

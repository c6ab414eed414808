"""Sheets → the bytes of a file, by kind."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from retune.parts.model import Sheets
    from retune.score.model import Score


def _html(score: Score, sheets: Sheets) -> str:
    from retune.parts.printed import printable_page

    return printable_page(sheets)


def _csv(score: Score, sheets: Sheets) -> str:
    from retune.parts.table import csv_table

    return csv_table(sheets)


def _markdown(score: Score, sheets: Sheets) -> str:
    from retune.parts.table import markdown

    return markdown(sheets)


def _musicxml(score: Score, sheets: Sheets) -> str:
    from retune.parts.musicxml import musicxml

    return musicxml(score, sheets)


_WRITERS: dict[str, Callable[[Score, Sheets], str]] = {
    "html": _html,
    "csv": _csv,
    "md": _markdown,
    "musicxml": _musicxml,
}
KINDS = tuple(_WRITERS)
"""Kinds of sheet, named by the ending of the file."""


def write_sheets(score: Score, sheets: Sheets, kind: str) -> bytes:
    """Return the file of a kind of `KINDS`, UTF-8."""
    return _WRITERS[kind](score, sheets).encode("utf-8")

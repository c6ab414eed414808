"""The printable page: one part after the other, each on paper of its own, large enough for a music stand.

The layout is `sheet.html.j2`; this module prepares plain values for it. The template escapes everything.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from retune.colours import HIGHER, LOWER
from retune.parts.names import beat_words, signed
from retune.parts.wording import STRINGS, heading

if TYPE_CHECKING:
    from retune.parts.model import Rule, Sheet, SheetNote, Sheets

CARRIED_BARS = 100  # a note held for longer is no longer told; keeps pages of stuck notes small


@dataclass(frozen=True, slots=True)
class PrintedNote:
    """One note of a bar, ready to be set."""

    beat: str
    name: str
    octave: int
    cents: int
    shown: bool  # the cents are printed
    side: str  # "lower", "higher", "carried" from the bar before, "" - the class of its style
    moves: tuple[int, ...]  # later cents of a held note
    word: str
    degree: str
    ratio: str


@dataclass(frozen=True, slots=True)
class PrintedBar:
    """One bar with the notes that are carried into it and those that begin in it."""

    number: int
    notes: tuple[PrintedNote, ...]
    width: float  # share of the line it asks for


@dataclass(frozen=True, slots=True)
class PrintedPart:
    """One part."""

    name: str
    bars: tuple[PrintedBar, ...]
    rules: tuple[Rule, ...]
    held: tuple[str, ...]  # a sentence for each held note that moves
    has_words: bool
    has_strings: bool


def printable_page(sheets: Sheets) -> str:
    """Return one self-contained HTML page; printed, every part begins on a new sheet."""
    import jinja2

    folder = jinja2.FileSystemLoader(Path(__file__).parent)
    environment = jinja2.Environment(
        autoescape=True, loader=folder, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.globals |= {"beat_words": beat_words, "signed": signed}
    return environment.get_template("sheet.html.j2").render(
        title=sheets.title or "Cents for singers and players",
        heading=heading(sheets),
        strings=STRINGS,
        reference=f"{sheets.reference_hz:g}",
        parts=[_printed_part(sheet, sheets.options.ratios) for sheet in sheets.sheets],
        chords=sheets.chords,
        lower=LOWER,
        higher=HIGHER,
    )


def _printed_part(sheet: Sheet, ratios: bool) -> PrintedPart:
    by_bar: dict[int, list[SheetNote]] = {}
    for note in sheet.notes:
        for bar in range(note.bar, min(note.last_bar, note.bar + CARRIED_BARS) + 1):
            by_bar.setdefault(bar, []).append(note)
    return PrintedPart(
        name=sheet.name,
        bars=tuple(_printed_bar(number, notes, ratios) for number, notes in sorted(by_bar.items())),
        rules=sheet.rules,
        held=tuple(_held(note) for note in sheet.notes if note.moves),
        has_words=any(note.word for note in sheet.notes),
        has_strings=sheet.has_strings,
    )


def _printed_bar(number: int, notes: list[SheetNote], ratios: bool) -> PrintedBar:
    ordered = sorted(notes, key=lambda note: note.bar == number)
    printed = tuple(
        _printed_note(note, ratios) if note.bar == number else _carried_note(note) for note in ordered
    )
    return PrintedBar(number, printed, width=max(2.0, float(len(printed))))


def _printed_note(note: SheetNote, ratios: bool) -> PrintedNote:
    cents = note.whole_cents
    shown = note.marked or bool(note.moves)
    return PrintedNote(
        beat=beat_words(note.beat),
        name=str(note.pitch).rstrip("-0123456789"),
        octave=note.pitch.octave,
        cents=cents,
        shown=shown,
        side="" if not shown or cents == 0 else "lower" if cents < 0 else "higher",
        moves=tuple(move.to_cents for move in note.moves),
        word=note.word,
        degree=note.degree if shown else "",
        ratio=note.ratio if ratios else "",
    )


def _carried_note(note: SheetNote) -> PrintedNote:
    return PrintedNote(
        beat="held",
        name=str(note.pitch).rstrip("-0123456789"),
        octave=note.pitch.octave,
        cents=0,
        shown=False,
        side="carried",
        moves=(),
        word="",
        degree="",
        ratio="",
    )


def _held(note: SheetNote) -> str:
    """Return what happens to a held note, in a sentence."""
    begins = f"{note.pitch}, from bar {note.bar} beat {beat_words(note.beat)} at {signed(note.whole_cents)}"
    steps = [
        f"moves to {signed(move.to_cents)} at bar {move.bar} beat {beat_words(move.beat)}"
        for move in note.moves
    ]
    return f"{begins}: {', '.join(steps)}"

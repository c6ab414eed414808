"""Sheets as tables: CSV for spreadsheets and scripts, Markdown for documents and mail."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING

from retune.parts.names import beat_words, signed
from retune.parts.wording import STRINGS, heading, moves_words

if TYPE_CHECKING:
    from collections.abc import Iterable

    from retune.parts.model import Sheet, SheetNote, Sheets, SlowChord

_MARKUP = re.compile(r"[\\`*_{}\[\]#|<>&~]|^[-+]|^\d{1,9}[.)]")  # CommonMark 0.31.2, 2.4, 4 and 5.2
# What spreadsheets take for a formula (OWASP, CSV injection); tabs and line ends, named there too, come out of `plain`
# as dots.
_FORMULA_STARTS = ("=", "+", "-", "@")


def csv_table(sheets: Sheets) -> str:
    """Return one row a note, all parts one after the other. Cents are numbers; `marked` is yes or no."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    reference = f"{sheets.reference_hz:g} Hz"
    columns = ["part", "bar", "beat", "note", "beats"]
    columns += [f"cents from the tuner's zero (A4 = {reference}; minus is lower)", "exact cents", "marked"]
    columns += ["ratio to the root"] * sheets.options.ratios + ["what it is", "word", "moves while held"]
    writer.writerow(columns)
    for sheet in sheets.sheets:
        for note in sheet.notes:
            row: list[object] = [_cell(sheet.name), note.bar, f"{note.beat:.4g}", note.pitch.ascii]
            row += [
                f"{note.beats:.4g}",
                note.whole_cents,
                f"{note.cents:.2f}",
                "yes" if note.marked else "no",
            ]
            row += [note.ratio] * sheets.options.ratios
            writer.writerow([*row, note.function, _cell(note.word), moves_words(note.moves)])
    return out.getvalue()


def _cell(text: str) -> str:
    """Return text from a file so that a spreadsheet shows it and does not run it."""
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def markdown(sheets: Sheets) -> str:
    """Return a chapter for every part with its marked notes, then the chords to tune slowly."""
    lines = [f"# {_escaped(sheets.title or 'Cents for singers and players')}", ""]
    lines += [f"{_escaped(line)}  " for line in heading(sheets)]
    for sheet in sheets.sheets:
        lines += ["", *_part_chapter(sheet, sheets.options.ratios)]
    if sheets.chords:
        lines += ["", "## Chords to tune slowly", ""]
        for chord in sheets.chords:
            lines += _chord_lines(chord)
    return "\n".join(lines) + "\n"


def _part_chapter(sheet: Sheet, ratios: bool) -> list[str]:
    marked = [note for note in sheet.notes if note.marked or note.moves]
    lines = [f"## {_escaped(sheet.name)}", ""]
    if sheet.has_strings:
        lines += [STRINGS, ""]
    if not marked:
        return [*lines, "Nothing to mark: every note is close to the tuner's zero."]
    names = ["Bar", "Beat", "Note", "Cents", *(["Ratio"] if ratios else []), "What it is", "Word"]
    lines += [_row(names), _row("---" for _ in names)]
    lines += [_row(_cells(note, ratios)) for note in marked]
    return lines


def _cells(note: SheetNote, ratios: bool) -> list[str]:
    cents = f"**{signed(note.whole_cents)}**" + (f", {moves_words(note.moves)}" if note.moves else "")
    cells = [str(note.bar), beat_words(note.beat), str(note.pitch), cents]
    return [*cells, *([note.ratio] if ratios else []), _escaped(note.function), _escaped(note.word)]


def _chord_lines(chord: SlowChord) -> list[str]:
    lines = [f"### Bar {chord.bar}, beat {beat_words(chord.beat)}: {_escaped(chord.name)}", ""]
    for number, voice in enumerate(chord.voices, start=1):
        tone = f"**{voice.pitch} {signed(voice.cents)}** ({voice.degree})"
        lines.append(f"{number}. {_escaped(voice.part)}: {tone}. {_escaped(voice.hint)}.")
    return [*lines, ""]


def _row(cells: Iterable[str]) -> str:
    return "| " + " | ".join(cells) + " |"


def _escaped(text: str) -> str:
    """Return text with every sign that Markdown or HTML would act on made plain, and no other: people read it too."""
    return _MARKUP.sub(lambda match: f"{match[0][:-1]}\\{match[0][-1]}", text)

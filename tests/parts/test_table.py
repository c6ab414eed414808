"""Sheets as CSV and Markdown."""

from __future__ import annotations

import csv
import io

import pytest

from retune.parts import SheetOptions, collect_sheets, write_sheets
from retune.tuning.fixed import table_per_chord
from tests.parts.build import HYMN, HYMN_CHORDS, chord_hints, score_of, sheets_of, stages


def rows(score, sheets) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(write_sheets(score, sheets, "csv").decode())))


def test_csv_has_every_note_once_with_its_cents() -> None:
    score = score_of(HYMN)
    sheets = sheets_of(score, HYMN_CHORDS)
    table = rows(score, sheets)
    assert len(table) == len(score.notes)
    (cents,) = [name for name in table[0] if name.startswith("cents")]
    assert "A4 = 440 Hz; minus is lower" in cents
    flat = [note for sheet in sheets.sheets for note in sheet.notes]
    assert [int(row[cents]) for row in table] == [note.whole_cents for note in flat]
    assert [row["note"] for row in table] == [note.pitch.ascii for note in flat]
    assert all(abs(float(row["exact cents"]) - int(row[cents])) <= 0.51 for row in table)
    assert "ratio to the root" not in table[0]


def test_ratios_are_there_on_request() -> None:
    score = score_of(HYMN)
    table = rows(score, sheets_of(score, HYMN_CHORDS, SheetOptions(ratios=True)))
    assert {row["ratio to the root"] for row in table} == {"1/1", "5/4", "3/2"}


def test_names_from_the_file_cannot_become_formulas_or_lines() -> None:
    """OWASP, CSV injection: a cell that begins with = + - or @ is run by spreadsheets."""
    score = score_of({'=1+1,"x"\n2': HYMN["Soprano"], "Bass": [(0.0, 8.0, 48)]})
    table = rows(score, sheets_of(score))
    assert len(table) == 3
    assert table[0]["part"].startswith("'=1+1")
    assert "\n" not in table[0]["part"]


@pytest.mark.parametrize("start", ["=", "+", "-", "@"])
def test_no_name_and_no_word_can_be_run_by_a_spreadsheet(start: str) -> None:
    """OWASP, CSV injection: the four signs a formula begins with; an apostrophe before them makes text of it."""
    score = score_of({f"{start}SUM(1)": [(0.0, 4.0, 60, f"{start}la")], "1=1": [(0.0, 4.0, 48, "a@b")]})
    table = rows(score, sheets_of(score))
    assert [row["part"] for row in table] == [f"'{start}SUM(1)", "1=1"]
    assert [row["word"] for row in table] == [f"'{start}la", "a@b"]


@pytest.mark.parametrize("sign", ["\t", "\r"])
def test_signs_that_end_a_cell_are_shown_and_not_obeyed(sign: str) -> None:
    score = score_of({f"{sign}=1": [(0.0, 4.0, 60)]})
    (row,) = rows(score, sheets_of(score))
    assert row["part"].endswith("=1")
    assert row["part"][0] not in "=\t\r"


def test_markdown_lists_marked_notes_under_the_parts_name() -> None:
    score = score_of(HYMN, title="Evening")
    text = write_sheets(score, sheets_of(score, HYMN_CHORDS), "md").decode()
    assert "# Evening\n" in text
    assert "Set the tuner to A = 440 Hz." in text
    chapter = text.split("## Alto")[1].split("## ")[0]
    assert "| 2 | 1 | A4 | **" in chapter
    assert "third of F major triad" in chapter
    assert text.index("## Bass") < text.index("## Chords to tune slowly")


def test_markup_in_names_stays_text() -> None:
    score = score_of({"<b>|*A*": HYMN["Soprano"], "Bass": [(0.0, 8.0, 48)]}, title="[x](y)")
    text = write_sheets(score, sheets_of(score), "md").decode()
    assert "## \\<b\\>\\|\\*A\\*" in text
    assert "# \\[x\\](y)" in text


def test_a_name_does_not_begin_a_list_in_a_list() -> None:
    """CommonMark 0.31.2, 5.2: a number with a full stop, or a dash, begins a list item."""
    score = score_of({"2. Tenor": HYMN["Soprano"], "- low": [(0.0, 8.0, 48)]})
    text = write_sheets(score, sheets_of(score, HYMN_CHORDS), "md").decode()
    assert "## 2\\. Tenor" in text
    assert "## \\- low" in text


def test_sentences_are_readable_as_they_stand() -> None:
    """In mail nobody renders Markdown: no backslash where none is needed."""
    score = score_of(HYMN, title="Evening (1st verse)!")
    text = write_sheets(score, sheets_of(score, HYMN_CHORDS), "md").decode()
    assert "\\" not in text


def test_moves_are_told_in_both() -> None:
    parts = {"Top": [(0.0, 8.0, 72)], "Mid": [(0.0, 8.0, 64)], "Low": [(0.0, 4.0, 48), (4.0, 4.0, 45)]}
    score, harmony, ratios, _ = stages(score_of(parts), chord_hints((0, "maj"), (9, "min")))
    sheets = collect_sheets(score, harmony, ratios, table_per_chord(score, harmony, ratios))
    assert rows(score, sheets)[0]["moves while held"] == "bar 2 beat 1: to +16"
    assert "**0**, bar 2 beat 1: to +16" in write_sheets(score, sheets, "md").decode()

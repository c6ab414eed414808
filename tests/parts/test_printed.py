"""The printable page."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from retune.parts import SheetOptions, collect_sheets, write_sheets
from retune.tuning.fixed import table_per_chord
from tests.parts.build import HYMN, HYMN_CHORDS, chord_hints, score_of, sheets_of, stages


class Reader(HTMLParser):
    """Collects headings, the classes of notes, and every tag."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.headings: list[str] = []
        self.notes: list[str] = []
        self.attributes: list[str] = []
        self._in_heading = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [name for name, _ in attrs]
        self._in_heading = tag == "h1"
        classes = dict(attrs).get("class") or ""
        if tag == "div" and classes.startswith("note"):
            self.notes.append(classes.removeprefix("note").strip())

    def handle_data(self, data: str) -> None:
        if self._in_heading:
            self.headings.append(data)
            self._in_heading = False


def read(score, sheets) -> tuple[Reader, str]:
    text = write_sheets(score, sheets, "html").decode()
    reader = Reader()
    reader.feed(text)
    return reader, text


def test_one_section_a_part_and_one_for_the_chords() -> None:
    score = score_of(HYMN, title="Evening")
    reader, text = read(score, sheets_of(score, HYMN_CHORDS))
    assert reader.headings == ["Soprano", "Alto", "Tenor", "Bass", "Chords to tune slowly"]
    assert reader.tags.count("section") == 5
    assert "A = 440 Hz" in text
    assert "lower</b> than the tuner's zero" in text


def test_marked_notes_are_told_apart_by_sign_and_arrow_and_not_by_colour_alone() -> None:
    score = score_of(HYMN)
    sheets = sheets_of(score, HYMN_CHORDS)
    reader, text = read(score, sheets)
    flat = [note for sheet in sheets.sheets for note in sheet.notes]
    expected = [("lower" if n.cents < 0 else "higher") if n.marked else "" for n in flat]
    assert reader.notes == expected
    assert "lower" in expected
    figures = re.findall(r'<span class="cents">(?:<span class="arrow">(.)</span>)?([−+]?\d+)?', text)
    for note, (arrow, figure) in zip(flat, figures, strict=True):
        assert arrow == ("" if not note.marked else "▼" if note.cents < 0 else "▲")
        assert (figure != "") == note.marked


def test_text_from_the_file_stays_text() -> None:
    evil = "<script>alert(1)</script>"
    parts = {evil: [(0.0, 8.0, 72, '"><img src=x onerror=alert(2)>')], "Bass": [(0.0, 8.0, 48)]}
    score = score_of(parts, title=evil)
    reader, text = read(score, sheets_of(score))
    assert "script" not in reader.tags
    assert "img" not in reader.tags
    assert "onerror" not in reader.attributes
    assert "&lt;script&gt;alert(1)" in text


def test_held_notes_and_ratios_are_printed() -> None:
    parts = {"Top": [(0.0, 8.0, 72)], "Mid": [(0.0, 8.0, 64)], "Low": [(0.0, 4.0, 48), (4.0, 4.0, 45)]}
    score, harmony, ratios, _ = stages(score_of(parts), chord_hints((0, "maj"), (9, "min")))
    tuning = table_per_chord(score, harmony, ratios)
    _, text = read(score, collect_sheets(score, harmony, ratios, tuning, SheetOptions(ratios=True)))
    assert "C5, from bar 1 beat 1 at 0: moves to +16 at bar 2 beat 1" in text
    assert "5/4" in text


def test_a_note_held_over_the_bar_line_is_shown_in_the_next_bar() -> None:
    """Two bars, C held over the line: bar 2 begins with it, without a figure, before what begins there."""
    score = score_of({"Top": [(0.0, 6.0, 72), (6.0, 2.0, 74)], "Low": [(0.0, 4.1, 48), (4.5, 3.5, 48)]})
    reader, text = read(score, sheets_of(score))
    assert reader.notes.count("carried") == 1, "a release a thirty-second note late is no held note"
    second = text.split('<span class="number">2</span>')[1]
    assert second.index(">held<") < second.index("C<sub>5") < second.index("D<sub>5")


def test_an_upbeat_is_named_because_scores_do_not_count_it() -> None:
    score = score_of({"Top": [(0.0, 1.0, 67), (1.0, 4.0, 72)]}, meter=(1, 4), meter_from={1.0: (4, 4)})
    assert "Bar 1 is the upbeat: bar 2 here is bar 1" in read(score, sheets_of(score))[1]
    plain = score_of({"Top": [(0.0, 4.0, 67), (4.0, 3.0, 72)]}, meter=(4, 4), meter_from={4.0: (3, 4)})
    assert "upbeat" not in read(plain, sheets_of(plain))[1]


def test_the_page_asks_nothing_of_the_network() -> None:
    score = score_of(HYMN)
    _, text = read(score, sheets_of(score, HYMN_CHORDS))
    assert not re.search(r"(?:src|href)=|url\(|@import|https?:", text)


def opened(browser: Any, folder: Path, *, width: int = 1280, height: int = 720) -> Any:
    """The sheets in a browser window."""
    score = score_of(HYMN, title="Evening")
    path = folder / "sheets.html"
    path.write_bytes(write_sheets(score, sheets_of(score, HYMN_CHORDS), "html"))
    page = browser.new_page(viewport={"width": width, "height": height})
    page.goto(path.as_uri())
    return page


def test_on_paper_every_part_begins_a_page_of_its_own(tmp_path: Path, browser: Any) -> None:
    """Printed by a browser to PDF: as many pages as sections, since each of them fits one A4 page."""
    page = opened(browser, tmp_path)
    overflow = page.evaluate(
        "[...document.querySelectorAll('.note')].filter(n => n.scrollWidth > n.clientWidth + 1).length"
    )
    pdf = page.pdf(prefer_css_page_size=True)
    page.close()
    assert overflow == 0
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 5
    assert b"/MediaBox [0 0 594" in pdf or b"/MediaBox [0 0 595" in pdf  # A4 is 595 × 842 points


def test_on_a_phone_nothing_scrolls_sideways_and_hints_have_room(tmp_path: Path, browser: Any) -> None:
    page = opened(browser, tmp_path, width=360, height=780)
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    widths = page.evaluate("[...document.querySelectorAll('.hint')].map((hint) => hint.clientWidth)")
    page.close()
    assert len(widths) == 8
    assert min(widths) > 240

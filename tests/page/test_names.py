"""Chords and notes have the names on the page that the tables of the analysis print."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from retune.harmony.model import KEY_DTYPE, WINDOW_DTYPE
from retune.harmony.spelling import chord_label, spell
from retune.harmony.vocabulary import CHORD_TYPES
from retune.pipeline import Analysis
from retune.tuning import Tuning

Opener = Callable[..., Any]
LABELS = "(windows) => windows.map((window) => retunePage.chordLabel(retunePage.page.music, window))"


def test_labels_of_the_hymn(hymn: tuple[Analysis, Tuning], hymn_page: Path, open_page: Opener) -> None:
    harmony = hymn[0].harmony
    expected = [chord_label(window, harmony.key_at(int(window["start_tick"]))) for window in harmony.windows]
    assert {"B7/D♯", "Emin"} <= set(expected)
    page = open_page(hymn_page)
    assert page.evaluate(f"({LABELS})(retunePage.page.windows)") == expected
    assert page.locator(".chord b").all_inner_texts()[:2] == expected[:2]


def test_a_name_without_room_is_cut_so_that_it_does_not_read_as_another_chord(
    hymn_page: Path, open_page: Opener
) -> None:
    """A bare D is a D major triad to every reader, so D half-diminished may not shrink to it."""
    page = open_page(hymn_page)
    cut = page.evaluate(
        """() => [["min7b5", 2, 5], ["min7b5", 2, 2], ["maj", 2, 6], ["6/9", 2, 6]].map(([chord, root, bass]) =>
          [200, 66, 41, 30].map((width) =>
            retunePage.page.view._label({ root, bass, chord, members: 1, spelling: 0 }, width)))"""
    )
    assert cut == [
        ["Dmin7♭5/F", "Dmin7♭5", "D…", "D…"],
        ["Dmin7♭5", "Dmin7♭5", "D…", "D…"],
        ["D/F♯", "D/F♯", "D/F♯", "D"],
        ["D6/9/F♯", "D6/9/F♯", "D6/9", "D…"],
    ]


def test_the_bass_under_a_dominant_is_its_third(hymn_page: Path, open_page: Opener) -> None:
    """The leading note to E is D♯ (common practice, no source), and so is the note that is listed."""
    page = open_page(hymn_page)
    chord = page.evaluate(
        "retunePage.page.windows.findIndex(w => w.root === 11 && w.bass === 3 && w.chord === '7')"
    )
    page.evaluate("(window) => retunePage.page.chooseWindow(window)", chord)
    assert "D♯ in the bass" in page.locator("#chord-place").inner_text()
    page.locator("#chord-notes-box summary").click()
    names = page.locator("#chord-notes tbody td:first-child").all_inner_texts()
    assert "D♯3" in names
    assert not any(name.startswith("E♭") for name in names)


def test_labels_of_every_chord_over_every_bass_in_every_key(hymn_page: Path, open_page: Opener) -> None:
    expected, asked, spellings = [], [], []
    for fifths in range(-7, 8):
        for minor in (False, True):
            key = np.zeros((), KEY_DTYPE)
            key["fifths"], key["minor"] = fifths, minor
            spellings.append([spell(pc, fifths, minor=minor) for pc in range(12)])
            for chord in range(-1, len(CHORD_TYPES)):
                window = np.zeros((), WINDOW_DTYPE)
                root = (5 * chord + fifths) % 12
                members = CHORD_TYPES[chord].members if chord >= 0 else 0b10000011
                window["root_pc"], window["chord"], window["members"] = root, chord, members
                for bass in range(12):
                    window["bass_pc"] = bass
                    expected.append(chord_label(window, key))
                    symbol = CHORD_TYPES[chord].symbol if chord >= 0 else ""
                    asked.append([root, bass, symbol, members, len(spellings) - 1])
    page = open_page(hymn_page)
    found = page.evaluate(
        """([asked, spellings]) => {
          const music = Object.create(retunePage.page.music);
          music.data = { ...music.data, spellings };
          return asked.map(([root, bass, chord, members, spelling]) =>
            retunePage.chordLabel(music, { root, bass, chord, members, spelling }));
        }""",
        [asked, spellings],
    )
    assert found == expected

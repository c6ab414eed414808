"""Single values of a plan: places, names, ratios, limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from retune.plan.words import (
    format_place,
    format_ratios,
    parse_bars,
    parse_chord,
    parse_chord_type,
    parse_limit,
    parse_pitch_class,
    parse_place,
    parse_ratios,
    parse_tones,
)
from retune.score.model import Meters


def meters(division: int) -> Meters:
    """4/4, then 3/8 from bar 5, then 6/8 from bar 9."""
    whole = division * 4
    return Meters(
        change_ticks=np.array([0, 4 * whole, 4 * whole + 4 * (whole * 3 // 8)]),
        first_bar=np.array([1, 5, 9]),
        numerator=np.array([4, 3, 6]),
        denominator=np.array([4, 8, 8]),
        ticks_per_quarter=float(division),
    )


@pytest.mark.parametrize(
    ("text", "place"), [("1.1", (1, 1.0)), ("17.3", (17, 3.0)), ("17.3.5", (17, 3.5)), ("4", (4, 1.0))]
)
def test_place_reads_as_bar_and_beat(text, place):
    assert parse_place(text) == place


@pytest.mark.parametrize("text", ["", "0.1", "1.0", "x.1", "1.2.3.4", "-1.1", 17.3, None])
def test_other_places_are_refused(text):
    with pytest.raises(ValueError, match=r"place|count from 1"):
        parse_place(text)


@given(st.integers(0, 10**6), st.sampled_from([24, 96, 120, 192, 384, 480, 960, 1024, 15360]))
def test_any_tick_survives_as_a_place(tick, division):
    """Performed music starts between the beats; a plan must lead back to the very tick."""
    clock = meters(division)
    assert clock.tick_of(*parse_place(format_place(clock, tick))) == tick


def test_place_on_the_beat_is_short():
    assert format_place(meters(480), 2 * 1920 + 480) == "3.2"
    assert format_place(meters(480), 2 * 1920 + 720) == "3.2.5"


@pytest.mark.parametrize(
    ("name", "pc"),
    [("C", 0), ("F#", 6), ("F♯", 6), ("Bb", 10), ("B♭", 10), ("Cb", 11), ("B#", 0), ("Fx", 7), ("ebb", 2)],
)
def test_note_names(name, pc):
    assert parse_pitch_class(name) == pc


@pytest.mark.parametrize("name", ["H", "", "C4", "Do", "##", 3])
def test_other_note_names_are_refused(name):
    with pytest.raises(ValueError, match="not a note name"):
        parse_pitch_class(name)


@pytest.mark.parametrize(
    ("written", "kind"),
    [("min7", "min7"), ("m7", "min7"), ("M7", "maj7"), ("dom7", "7"), ("ø7", "min7b5"), ("7(♭9)", "7b9")],
)
def test_chord_types_are_read_as_musicians_write_them(written, kind):
    """`M7` is a major and `m7` a minor seventh: neither may be taken for the other (lead-sheet practice)."""
    assert parse_chord(written) == (kind, None)
    assert parse_chord_type(written) == kind


@pytest.mark.parametrize("written", ["", "mni7", "Am7", 7, None])
def test_other_chord_types_are_refused(written):
    with pytest.raises(ValueError, match="no such chord type"):
        parse_chord(written)


def test_a_chord_beside_the_table_is_read_with_its_tones():
    """G7 with a flat thirteenth: the tones of the chord type and E flat (common practice, no source)."""
    assert parse_chord("7b13") == ("7", 0b101_1001_0001)
    with pytest.raises(ValueError, match="'7b13' is no chord type of the table; nearest: 7"):
        parse_chord_type("7b13")


def test_tones_become_steps_above_the_root():
    assert parse_tones("D F A C", 2) == 0b100_1000_1001  # 0, 3, 7, 10
    assert parse_tones("F A", 2) & 1, "the root belongs to it even if it is not named"


def test_ratios_of_a_dominant_seventh():
    """4:5:6:7 and 1 5/4 3/2 7/4 are the same chord (hand-out "Chords of Just Intonation")."""
    expected = {0: (1, 1), 4: (5, 4), 7: (3, 2), 10: (7, 4)}
    assert parse_ratios("1 5/4 3/2 7/4") == expected
    assert parse_ratios("4:5:6:7") == expected
    assert format_ratios(expected) == "1 5/4 3/2 7/4"


@pytest.mark.parametrize("text", ["1 5/0", "1 1.25", "5/4", "1 5/4 81/64", "", 7])
def test_other_ratios_are_refused(text):
    with pytest.raises(ValueError, match="ratio"):
        parse_ratios(text)


def test_limits():
    assert parse_limit(0) == 0.0
    assert parse_limit(12.5) == 12.5
    assert parse_limit("none") == math.inf
    for wrong in (-1, "7", True, math.nan, None):
        with pytest.raises(ValueError, match="number of cents"):
            parse_limit(wrong)


def test_bars():
    assert parse_bars("17-24") == (17, 24)
    assert parse_bars("17") == (17, 17)
    for wrong in ("24-17", "0-3", "a-b", "", 17):
        with pytest.raises(ValueError, match="bars"):
            parse_bars(wrong)

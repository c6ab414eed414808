"""Whose harmony a silence is (common practice, no source: chord charts write a chord to the beat and bar it rules)."""

import numpy as np
import pytest

from retune.harmony import find_harmony
from tests.harmony.build import TPQ, heard, score_of

C, G = (48, 64, 67, 72), (43, 62, 67, 71)


def stab(chord, start, length):
    return [[(start, length, key)] for key in chord]


def two(length, second_start, *, pedal=()):
    """C from the downbeat for `length` quarters, then G, in two bars."""
    first, last = stab(C, 0, length), stab(G, second_start, 7.5 - second_start)
    return score_of(*[a + b for a, b in zip(first, last, strict=True)], pedal=pedal)


def test_chord_after_a_silent_beat_begins_with_the_beat():
    assert heard(two(3.5, 4.5)) == [(0.0, "C maj"), (4.0, "G maj")]


@pytest.mark.parametrize("length", [4.0, 4.25, 4.5])
def test_chord_after_a_sounding_beat_begins_where_it_enters(length):
    expected = 4.0 if length == 4.0 else 4.5
    assert heard(two(length, 4.5)) == [(0.0, "C maj"), (expected, "G maj")]


def test_pedal_sounds_on():
    assert heard(two(3.5, 4.5, pedal=[(0.0, 127), (4.4, 0)])) == [(0.0, "C maj"), (4.5, "G maj")]


def test_bars_are_whole():
    harmony = find_harmony(score_of(*stab(C, 5.0, 1.0)))
    bar = 4 * TPQ
    for rows in (harmony.windows, harmony.keys):
        assert (rows["start_tick"][0], rows["end_tick"][-1]) == (bar, 2 * bar)
    assert np.unique(harmony.pieces["start_tick"]).tolist() == [5 * TPQ]


def test_bars_of_three_are_whole():
    """Three quarters in a bar: bars begin at 0, 3, 6."""
    windows = find_harmony(score_of(*stab(C, 4.0, 0.5), meter=(3, 4))).windows
    assert (windows["start_tick"][0], windows["end_tick"][-1]) == (3 * TPQ, 6 * TPQ)

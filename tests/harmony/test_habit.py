"""What a piece does on beats and half-bars makes listeners expect more of it."""

import numpy as np
import pytest

from retune.harmony.finder.habit import COST, MOST, habit
from tests.harmony.build import blocks, heard, score_of

TONIC, II, IV, V, VI = (
    [48, 64, 67, 72],
    [50, 62, 65, 69],
    [53, 60, 69, 72],
    [43, 62, 67, 71],
    [45, 60, 64, 72],
)
BY_BEATS = blocks(*[TONIC, IV, V, VI, II, V, TONIC, IV] * 4, length=1.0)
BY_BARS = blocks(TONIC, IV, V, TONIC, VI, II, V, TONIC, length=4.0)


def with_a_neighbour_six_four(before):
    """32 quarters of music, then a bar of G whose second beat moves two voices to the notes above and back, then F."""
    bar = [
        [(32, 4, 43)],
        [(32, 1, 62), (33, 1, 60), (34, 2, 62)],
        [(32, 4, 67)],
        [(32, 1, 71), (33, 1, 72), (34, 2, 71)],
    ]
    last = [[(36, 4, key)] for key in IV]
    return score_of(*[a + b + c for a, b, c in zip(before, bar, last, strict=True)])


@pytest.mark.parametrize(
    ("before", "expected"),
    [
        (BY_BEATS, [(32, "G maj"), (33, "C 5"), (34, "G maj"), (36, "F maj")]),
        (BY_BARS, [(32, "G maj"), (36, "F maj")]),
    ],
    ids=["chords on every beat", "chords by the bar"],
)
def test_neighbouring_six_four_is_a_chord_where_every_beat_has_one(before, expected):
    """Common practice, no source: in slow harmony it ornaments its chord."""
    assert [row for row in heard(with_a_neighbour_six_four(before)) if row[0] >= 32] == expected


@pytest.mark.parametrize(("novelty", "sign"), [(1.0, 1), (0.0, -1)])
def test_much_change_makes_change_cheap_up_to_a_limit(novelty, sign):
    beats = np.arange(400.0)
    strength = np.tile([0, 2, 1, 2], 100)
    points = habit(np.full(400, novelty), strength, beats)
    assert (np.sign(points) == sign).all()
    assert np.abs(points).max() == pytest.approx(COST * MOST)


def test_only_beats_and_what_is_near_count():
    """Changes on beats of the first half say nothing about its half-bars, nor about beats 100 beats later."""
    beats, strength = np.arange(400.0), np.tile([0, 2, 1, 2], 100)
    novelty = np.where(strength == 2, beats < 200, strength != 3).astype(float)
    points = habit(novelty, strength, beats)
    assert points[1] > 0 > points[301]
    assert not habit(np.ones(4), np.array([3, 4, 5, 3]), np.arange(4.0)).any()


def test_one_place_says_little():
    assert abs(habit(np.ones(1), np.zeros(1, dtype=int), np.zeros(1))[0]) < COST / 2
    assert habit(np.zeros(0), np.zeros(0, dtype=int), np.zeros(0)).shape == (0,)

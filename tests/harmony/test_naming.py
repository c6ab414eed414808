"""Root saliences against the published table, and names from literal sets of pitch classes."""

import numpy as np
import pytest

from retune.harmony import find_harmony
from retune.harmony.finder.naming import root_salience
from tests.harmony.build import NAMES, blocks, name, score_of


@pytest.mark.parametrize(
    ("tones", "published"),
    [
        ((0, 4, 7), [18, 0, 3, 3, 10, 6, 2, 10, 3, 7, 1, 0]),
        ((0, 3, 7), [15, 1, 2, 13, 0, 8, 0, 10, 8, 2, 1, 3]),
        ((0, 3, 6), [10, 1, 5, 10, 1, 7, 10, 0, 10, 0, 1, 8]),
        ((0, 4, 8), [13, 5, 3, 0, 13, 5, 3, 0, 13, 5, 3, 0]),
        ((0, 4, 7, 10), [20, 0, 3, 8, 10, 6, 5, 10, 4, 7, 11, 0]),
    ],
)
def test_saliences_of_parncutt(tones, published):
    """Parncutt, Music Perception 6(1), 1988, with the weights 10 5 3 2 1 of 1993 (Empirical Musicology Review
    1(4), 2006); the row of the major triad is printed there, the others follow from the published weights.
    """
    amount = np.isin(np.arange(12), tones).astype(float)
    assert root_salience(amount).tolist() == published


@pytest.mark.parametrize(
    ("intervals", "symbol"),
    [
        ((0, 16, 19), "maj"),
        ((0, 15, 19), "min"),
        ((0, 15, 18), "dim"),
        ((0, 7, 12), "5"),
        ((0, 12), "1"),
        ((0, 16, 19, 22), "7"),
        ((0, 16, 19, 23), "maj7"),
        ((0, 15, 19, 22), "min7"),
        ((0, 15, 18, 22), "min7b5"),
        ((0, 16, 19, 22, 26), "9"),
        ((0, 16, 19, 23, 26), "maj9"),
        ((0, 15, 19, 22, 26), "min9"),
        ((0, 16, 19, 22, 25), "7b9"),
        ((0, 7, 14, 16), "add9"),
    ],
)
@pytest.mark.parametrize("root", [0, 5, 10])
def test_root_position_chords_get_their_names(intervals, symbol, root):
    """A cadence to the chord's own fifth below would decide the rest; alone and in root position they are plain."""
    windows = find_harmony(score_of(*blocks([36 + root + i for i in intervals], length=4.0))).windows
    assert [name(w) for w in windows] == [f"{NAMES[root]} {symbol}"]

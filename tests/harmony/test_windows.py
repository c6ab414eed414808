"""What holds for the windows and pieces of any score."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.harmony import find_harmony
from tests.harmony.build import TPQ, score_of

NOTE = st.tuples(
    st.integers(0, 64).map(lambda n: n / 4), st.integers(0, 16).map(lambda n: n / 4), st.integers(30, 90)
)
VOICES = st.lists(st.lists(NOTE, min_size=1, max_size=12), min_size=1, max_size=4)


@settings(max_examples=40, deadline=None)
@given(VOICES)
def test_windows_and_pieces_cover_the_music(voices):
    score = score_of(*voices)
    harmony = find_harmony(score)
    windows, pieces, notes = harmony.windows, harmony.pieces, score.notes
    bar, last = 4 * TPQ, max(notes["sounding_end_tick"].max(), 1 + notes["onset_tick"].max())
    assert windows["start_tick"][0] == notes["onset_tick"].min() // bar * bar
    assert windows["end_tick"][-1] == -(-last // bar) * bar
    assert (windows["start_tick"][1:] == windows["end_tick"][:-1]).all()
    assert (windows["end_tick"] > windows["start_tick"]).all()
    assert (windows["members"] & 1).all()  # the root is a chord tone
    assert np.unique(pieces["note"]).tolist() == list(range(len(notes)))
    length = np.bincount(pieces["note"], weights=pieces["end_tick"] - pieces["start_tick"])
    assert (length == notes["sounding_end_tick"] - notes["onset_tick"]).all()
    assert (pieces["start_tick"] >= windows["start_tick"][pieces["window"]]).all()
    assert (pieces["end_tick"] <= windows["end_tick"][pieces["window"]]).all()
    assert harmony.keys["start_tick"][0] == windows["start_tick"][0]
    assert harmony.keys["end_tick"][-1] == windows["end_tick"][-1]


def test_last_note_of_no_length_just_after_another_onset():
    """It starts after the last step does, and ends with it."""
    score = score_of([(0, 1, 60), (1, 0, 64)], [(1 + 1 / 480, 0, 67)])
    assert score.notes["sounding_end_tick"].max() == score.notes["onset_tick"].max() == 481
    assert find_harmony(score).windows["end_tick"][-1] >= 481


def test_order_of_tracks_does_not_matter():
    voices = [[(0, 4, 48), (4, 4, 53)], [(0, 4, 64), (4, 4, 69)], [(0, 4, 67), (4, 4, 72)]]
    assert (
        find_harmony(score_of(*voices)).windows.tolist()
        == find_harmony(score_of(*voices[::-1])).windows.tolist()
    )

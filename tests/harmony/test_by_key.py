"""What the key and the neighbours say about chords that leave out a tone (common practice, no source)."""

import pytest

from retune.harmony import find_harmony
from retune.harmony.spelling import chord_label
from tests.harmony.build import blocks, heard, score_of

C, F, G = [48, 64, 67, 72], [53, 60, 65, 69], [43, 62, 67, 71]
D_A_C = [50, 69, 72]


def chord_at(score, start):
    return dict(heard(score))[start]


def test_a_seventh_chord_without_its_third_follows_the_key():
    assert chord_at(score_of(*blocks(C, F, C, D_A_C, G, C)), 6.0) == "D min7"
    a_higher = [[key + 2 for key in chord] for chord in (C, F, C, D_A_C, G, C)]
    assert chord_at(score_of(*blocks(*a_higher)), 6.0) == "E min7"


def test_the_fifth_degree_has_its_leading_note_in_minor_too():
    tonic, fourth = [48, 63, 67, 72], [53, 60, 65, 68]
    assert chord_at(score_of(*blocks(tonic, fourth, tonic, [55, 62, 65], tonic)), 6.0) == "G 7"


def test_what_follows_over_the_same_root_says_which_third_it_was():
    score = score_of(*blocks(C, F, C, D_A_C, [50, 66, 69, 72], G, C))
    assert chord_at(score, 6.0) == "D 7"


@pytest.mark.parametrize("pedal", [None, 36], ids=["no pedal", "over the tonic"])
def test_leading_note_and_second_degree_are_the_dominant(pedal):
    upper = blocks([64, 67, 72], [65, 69, 72], [59, 62], [64, 67, 72], [62, 71], [60, 64, 67])
    low = [] if pedal is None else [[(0.0, 12.0, pedal)]]
    score = score_of(*low, *upper)
    assert [chord_at(score, start) for start in (4.0, 8.0)] == ["G maj", "G maj"]


def test_no_chord_keeps_a_bass_that_has_been_left():
    """C, then B under a chord of B: the bass part has moved, though it leapt up by a seventh."""
    bass = [(0, 2, 36), (2, 2, 47), (4, 4, 40)]
    harmony = find_harmony(score_of(bass, *blocks([60, 64, 67], [63, 66, 69], [64, 67, 71])))
    assert [chord_label(window, harmony.keys[0]) for window in harmony.windows] == ["C", "B7", "Emin"]


def test_a_note_alone_carries_on_the_chord_it_belongs_to():
    score = score_of([(0, 4, 67), (4, 4, 67), (8, 4, 69)], [(0, 4, 64), (8, 4, 65)], [(0, 4, 48), (8, 4, 53)])
    assert heard(score) == [(0.0, "C maj"), (8.0, "F maj")]


def test_an_opening_note_belongs_to_the_chord_to_come():
    opening = score_of([(0, 4, 69), (4, 4, 69)], [(4, 4, 66)], [(4, 4, 62)], [(4, 4, 50)])
    assert heard(opening) == [(0.0, "D maj")]
    foreign = score_of([(0, 4, 70), (4, 4, 69)], [(4, 4, 66)], [(4, 4, 62)], [(4, 4, 50)])
    assert heard(foreign) == [(0.0, "Bb 1"), (4.0, "D maj")]

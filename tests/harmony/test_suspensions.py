"""Suspensions name the chord they resolve into (textbook figures; common practice, no source)."""

import pytest

from retune.harmony import Role, find_harmony
from tests.harmony.build import heard, score_of


@pytest.mark.parametrize(
    ("voices", "chord"),
    [
        ([[(2, 4, 74), (6, 2, 72)], [(2, 2, 67), (4, 4, 67)], [(2, 2, 59), (4, 4, 63)]], "C min"),
        ([[(2, 4, 72), (6, 2, 71)], [(2, 2, 69), (4, 4, 74)], [(2, 2, 53), (4, 4, 55)]], "G maj"),
        ([[(2, 2, 76), (4, 4, 74)], [(2, 2, 71), (4, 4, 69)], [(2, 4, 55), (6, 2, 53)]], "D min"),
    ],
    ids=["7-6", "4-3", "2-3 in the bass"],
)
def test_the_chord_is_that_of_the_resolution(voices, chord):
    assert (4.0, chord) in heard(score_of(*voices))


def test_the_held_note_is_called_a_suspension():
    score = score_of([(2, 4, 74), (6, 2, 72)], [(2, 2, 67), (4, 4, 67)], [(2, 2, 59), (4, 4, 63)])
    harmony = find_harmony(score)
    held = [int(p["role"]) for p in harmony.pieces if score.notes["key"][p["note"]] == 74]
    assert held[-1] == Role.SUSPENSION


def test_a_chordal_seventh_is_no_suspension():
    """ii7 V7 I: the seventh falls by step as well, but the bass moves on with it."""
    score = score_of(
        [(0, 2, 72), (2, 2, 72), (4, 2, 71), (6, 2, 72)],
        [(0, 2, 64), (2, 2, 65), (4, 2, 65), (6, 2, 64)],
        [(0, 2, 55), (2, 2, 57), (4, 2, 55), (6, 2, 55)],
        [(0, 2, 48), (2, 2, 50), (4, 2, 43), (6, 2, 48)],
    )
    assert [chord for _, chord in heard(score)] == ["C maj", "D min7", "G 7", "C maj"]


def test_performed_timing_hides_no_suspension():
    """4-3 over the dominant, the chord before released a little late; separate parts and one keyboard."""
    voices = [
        [(0, 5.99, 72), (6.02, 2, 71)],
        [(0, 4.03, 64), (4, 4, 62)],
        [(0, 4.02, 55), (4.01, 4, 55)],
        [(0, 4, 48), (3.99, 4, 43)],
    ]
    for parts in (voices, [sorted(note for voice in voices for note in voice)]):
        assert [chord for _, chord in heard(score_of(*parts))] == ["C maj", "G maj"]

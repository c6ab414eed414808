"""Roles of notes in textbook figures, the harmony being given (common practice, no source)."""

import pytest

from retune.harmony import Hint, Role, find_harmony
from retune.harmony.vocabulary import CHORD_TYPES
from tests.harmony.build import TPQ, score_of

C_E_G = ([(0.0, 4.0, 48)], [(0.0, 4.0, 55)])


def roles_of(voice, *others, chords):
    """Roles of the pieces of the first voice; a chord is (start, end, root, symbol)."""
    score = score_of(voice, *others)
    hints = [
        Hint(start_tick=round(a * TPQ), end_tick=round(b * TPQ), root_pc=root, chord=chord)
        for a, b, root, chord in chords
    ]
    harmony = find_harmony(score, hints=hints)
    part = score.notes["part"][harmony.pieces["note"]]
    return [Role(int(r)).name for r in harmony.pieces["role"][part == part[0]]]


def test_passing_note_between_chord_tones():
    voice = [(0.0, 1.0, 64), (1.0, 1.0, 65), (2.0, 2.0, 67)]
    assert roles_of(voice, *C_E_G, chords=[(0, 4, 0, "maj")]) == ["CHORD", "PASSING", "CHORD"]


@pytest.mark.parametrize("neighbour", [65, 62, 63])
def test_neighbour_note_returns(neighbour):
    voice = [(0.0, 1.0, 64), (1.0, 1.0, neighbour), (2.0, 2.0, 64)]
    assert roles_of(voice, *C_E_G, chords=[(0, 4, 0, "maj")]) == ["CHORD", "NEIGHBOUR", "CHORD"]


def test_suspension_tied_over_and_resolved_down():
    voice = [(0.0, 3.0, 65), (3.0, 1.0, 64)]
    others = [(0.0, 2.0, 53), (2.0, 2.0, 48)], [(0.0, 2.0, 57), (2.0, 2.0, 55)]
    assert roles_of(voice, *others, chords=[(0, 2, 5, "maj"), (2, 4, 0, "maj")]) == [
        "CHORD",
        "SUSPENSION",
        "CHORD",
    ]


def test_suspension_struck_again():
    voice = [(0.0, 2.0, 65), (2.0, 1.0, 65), (3.0, 1.0, 64)]
    others = [(0.0, 2.0, 53), (2.0, 2.0, 48)], [(0.0, 2.0, 57), (2.0, 2.0, 55)]
    assert roles_of(voice, *others, chords=[(0, 2, 5, "maj"), (2, 4, 0, "maj")]) == [
        "CHORD",
        "SUSPENSION",
        "CHORD",
    ]


def test_anticipation_of_the_next_chord():
    voice = [(0.0, 1.5, 62), (1.5, 0.5, 60), (2.0, 2.0, 60)]
    others = [(0.0, 2.0, 43), (2.0, 2.0, 48)], [(0.0, 2.0, 59), (2.0, 2.0, 55)]
    assert roles_of(voice, *others, chords=[(0, 2, 7, "maj"), (2, 4, 0, "maj")]) == [
        "CHORD",
        "ANTICIPATION",
        "CHORD",
    ]


def test_appoggiatura_reached_by_leap_on_the_beat():
    voice = [(0.0, 2.0, 60), (2.0, 1.0, 69), (3.0, 1.0, 67)]
    assert roles_of(voice, *C_E_G, chords=[(0, 4, 0, "maj")]) == ["CHORD", "APPOGGIATURA", "CHORD"]


def test_pedal_through_foreign_chords():
    voice = [(0.0, 8.0, 36)]
    above = [(0.0, 2.0, 64), (2.0, 2.0, 62), (4.0, 2.0, 62), (6.0, 2.0, 64)]
    chords = [(0, 2, 0, "maj"), (2, 4, 7, "maj"), (4, 6, 2, "min"), (6, 8, 0, "maj")]
    assert roles_of(voice, above, chords=chords) == ["CHORD", "PEDAL", "PEDAL", "CHORD"]


def test_leap_to_and_from_a_foreign_note_has_no_name():
    voice = [(0.0, 1.0, 60), (1.0, 1.0, 66), (2.0, 2.0, 60)]
    assert roles_of(voice, *C_E_G, chords=[(0, 4, 0, "maj")]) == ["CHORD", "OTHER", "CHORD"]


def test_every_tone_of_every_chord_type_is_a_chord_tone():
    for chord in CHORD_TYPES:
        voices = [[(0.0, 4.0, 50 + s)] for s in chord.intervals]
        harmony = find_harmony(
            score_of(*voices), hints=[Hint(start_tick=0, end_tick=4 * TPQ, root_pc=2, chord=chord.symbol)]
        )
        assert set(harmony.pieces["role"].tolist()) == {0}, chord.symbol

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


@pytest.mark.parametrize(("windows", "role"), [(2, "OTHER"), (3, "PEDAL")])
def test_a_pedal_sounds_through_three_windows(windows, role):
    chords = [(0, 2, 0, "maj"), (2, 4, 7, "maj"), (4, 6, 0, "maj")][:windows]
    end = 2.0 * windows
    assert roles_of([(0.0, end, 36)], [(0.0, end, 67)], chords=chords)[1] == role


@pytest.mark.parametrize("times", range(1, 5))
def test_a_suspension_may_be_struck_again_four_times_before_it_resolves(times):
    """Eighths on F over C, after F major; four is a limit of ours (docs/harmony.md)."""
    end = 2.5 + 0.5 * times
    voice = [(0.0, 2.0, 65), *((2.0 + 0.5 * k, 0.5, 65) for k in range(times + 1)), (end, 1.0, 64)]
    others = [[(0.0, 2.0, low), (2.0, end - 1.0, high)] for low, high in ((53, 48), (57, 55))]
    roles = roles_of(voice, *others, chords=[(0, 2, 5, "maj"), (2, end + 1.0, 0, "maj")])
    assert roles == ["CHORD", *["SUSPENSION"] * (times + 1), "CHORD"]


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


def one_part(*voices):
    """The same voices on one track and channel, as a keyboard plays them."""
    return sorted(note for voice in voices for note in voice)


C_MAJOR, G_MAJOR = (
    [(0.0, 4.0, 48), (0.0, 4.0, 55), (0.0, 4.0, 64)],
    [(4.0, 4.0, 43), (4.0, 4.0, 55), (4.0, 4.0, 62)],
)
TONIC_DOMINANT = [(0, 4, 0, "maj"), (4, 8, 7, "maj")]


def roles_at(start, key, *voices, chords=TONIC_DOMINANT):
    """Roles of the pieces of the note that starts there, from voices in parts of their own and in one part."""
    found = []
    for parts in (voices, [one_part(*voices)]):
        score = score_of(*parts)
        hints = [
            Hint(start_tick=round(a * TPQ), end_tick=round(b * TPQ), root_pc=root, chord=chord)
            for a, b, root, chord in chords
        ]
        harmony = find_harmony(score, hints=hints)
        of_note = score.notes[harmony.pieces["note"]]
        here = (of_note["key"] == key) & (of_note["onset_tick"] == round(start * TPQ))
        found.append([Role(int(r)).name for r in harmony.pieces["role"][here]])
    assert found[0] == found[1]
    return found[0]


@pytest.mark.parametrize(
    ("voice", "start", "roles"),
    [
        ([(0, 6, 72), (6, 2, 71)], 0, ["CHORD", "SUSPENSION"]),
        ([(0, 4, 72), (4, 2, 72), (6, 2, 71)], 4, ["SUSPENSION"]),
        ([(0, 4, 72), (4, 1, 72), (5, 1, 72), (6, 2, 71)], 4, ["SUSPENSION"]),
        ([(0, 4, 72), (4, 1, 72), (5, 0.5, 72), (5.5, 0.5, 72), (6, 2, 71)], 5.5, ["SUSPENSION"]),
        ([(0, 5, 72), (5, 1, 67), (6, 2, 71)], 0, ["CHORD", "SUSPENSION"]),
        ([(0, 5, 72), (5, 0.5, 71), (5.5, 0.5, 69), (6, 2, 71)], 0, ["CHORD", "SUSPENSION"]),
        ([(0, 6, 72), (6, 2, 76)], 0, ["CHORD", "OTHER"]),
        ([(0, 2, 72), (4, 2, 72), (6, 2, 71)], 4, ["APPOGGIATURA"]),
    ],
    ids=["tied", "struck", "struck twice", "off the beat too", "leaps first", "turns", "unresolved", "after a rest"],
)  # fmt: skip
def test_suspensions_and_their_ornaments(voice, start, roles):
    assert roles_at(start, 72, voice, C_MAJOR, G_MAJOR) == roles


def test_a_suspension_in_the_bass_under_chords_that_move():
    """2-3: the bass is held from the chord before and falls when the others have struck."""
    bass, above = [(0, 5, 48), (5, 3, 47)], [(0, 4, 64), (0, 4, 67), (4, 4, 62), (4, 4, 67)]
    assert roles_at(0, 48, bass, above) == ["CHORD", "SUSPENSION"]


@pytest.mark.parametrize("order", [(74, 71), (71, 74)])
def test_changing_notes_are_neighbours(order):
    """The upper and the lower neighbour, one after the other, and back."""
    voice = [(0, 1, 72), (1, 0.5, order[0]), (1.5, 0.5, order[1]), (2, 2, 72)]
    assert [roles_at(at, key, voice, C_MAJOR) for at, key in zip((1, 1.5), order, strict=True)] == [
        ["NEIGHBOUR"]
    ] * 2


def test_an_escape_tone_is_no_changing_note():
    """Left by leap into a tone of the next chord, it has no name here, although the line then returns."""
    voice = [(0, 3.5, 72), (3.5, 0.5, 74), (4, 2, 71), (6, 2, 72)]
    assert roles_at(3.5, 74, voice, C_MAJOR, G_MAJOR) == ["OTHER"]


@pytest.mark.parametrize("length", [0.5, 1.0])
def test_an_anticipation_may_stand_on_a_beat_weaker_than_its_chord(length):
    voice = [(0, 4 - length, 72), (4 - length, length, 71), (4, 4, 71)]
    assert roles_at(4 - length, 71, voice, C_MAJOR, G_MAJOR) == ["ANTICIPATION"]


def test_an_appoggiatura_leans_on_a_note_in_a_weaker_place_however_short():
    voice = [(0, 3.5, 67), (3.5, 0.25, 77), (3.75, 0.25, 76), (4, 4, 74)]
    assert roles_at(3.5, 77, voice, C_MAJOR, G_MAJOR) == ["APPOGGIATURA"]


@pytest.mark.parametrize(("late", "pieces"), [(0.1, 1), (0.25, 2)])
def test_a_key_that_comes_up_late_does_nothing_in_the_next_chord(late, pieces):
    """At 120 to the minute a tenth of a quarter is 50 ms, within human timing; a quarter of one is a note."""
    voice = [(0, 4 + late, 76), (4 + late, 4 - late, 74)]
    assert len(roles_at(0, 76, voice, C_MAJOR, G_MAJOR)) == pieces

"""Names of notes and chords (common practice, no source)."""

import pytest

from retune.harmony import Hint, find_harmony
from retune.harmony.spelling import chord_label, name_within_reach, pitch_class_of, spell
from tests.harmony.build import TPQ, blocks, score_of


@pytest.mark.parametrize(
    ("fifths", "names"),
    [
        (0, "C C♯ D E♭ E F F♯ G A♭ A B♭ B"),
        (3, "C C♯ D D♯ E F F♯ G G♯ A A♯ B"),
        (-3, "C D♭ D E♭ E F G♭ G A♭ A B♭ C♭"),
        (7, "B♯ C♯ D D♯ E E♯ F♯ G G♯ A A♯ B"),
    ],
)
def test_scale_notes_keep_their_letters(fifths, names):
    scale = {(2 * i + 7 * fifths) % 12 for i in (0, 1, 2)} | {
        (2 * i - 1 + 7 * fifths) % 12 for i in (3, 4, 5, 6)
    }
    written = names.split()
    for pc in scale:
        assert spell(pc, fifths) == written[pc]


@pytest.mark.parametrize(("pc", "name"), [(6, "F♯"), (10, "B♭"), (1, "C♯"), (8, "A♭"), (3, "E♭")])
def test_chromatic_notes_in_c_major(pc, name):
    assert spell(pc, 0) == name


@pytest.mark.parametrize(("pc", "name"), [(8, "G♯"), (6, "F♯"), (1, "C♯"), (10, "B♭"), (3, "D♯")])
def test_chromatic_notes_in_a_minor(pc, name):
    assert spell(pc, 0, minor=True) == name


def test_no_note_takes_three_signs():
    places = {place: name_within_reach(place) for place in range(-30, 31)}
    assert all(len(name) <= 3 for name in places.values())
    assert {pitch_class_of(name) for name in places.values()} == set(range(12))
    assert all(pitch_class_of(name) == 7 * place % 12 for place, name in places.items())


def test_label_with_bass():
    score = score_of(*blocks([57, 61, 64, 66], length=4.0))
    harmony = find_harmony(
        score, hints=[Hint(start_tick=0, end_tick=4 * TPQ, root_pc=6, chord="min7", bass_pc=9)]
    )
    assert chord_label(harmony.windows[0], harmony.keys[0]) == "F♯min7/A"

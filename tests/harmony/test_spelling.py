"""Names of notes and chords (common practice, no source)."""

import mido
import music21
import pytest

from retune.harmony import Hint, find_harmony
from retune.harmony.chord_symbols import parse
from retune.harmony.spelling import (
    altered_interval,
    chord_label,
    chord_name,
    name_within_reach,
    spell,
)
from retune.harmony.vocabulary import AUGMENTED_SIXTHS, CHORD_TYPES
from retune.note_names import pitch_class_of
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


def test_altered_intervals_are_named_as_music21_names_them():
    """Outside: music21.interval, upwards within an octave."""
    names = [letter + sign for letter in "CDEFGAB" for sign in ("♭", "", "♯")]
    for low in names:
        for high in names:
            pitches = [name.replace("♭", "-").replace("♯", "#") + "4" for name in (low, high)]
            start, end = map(music21.pitch.Pitch, pitches)
            if end.diatonicNoteNum <= start.diatonicNoteNum:
                end.octave += 1
            nice = music21.interval.Interval(start, end).niceName.lower()
            usual = nice.split()[0] in ("major", "minor", "perfect")
            assert altered_interval(low, high) == ("" if usual else nice.replace("-", " ")), (low, high)


def test_label_with_bass():
    score = score_of(*blocks([57, 61, 64, 66], length=4.0))
    harmony = find_harmony(
        score, hints=[Hint(start_tick=0, end_tick=4 * TPQ, root_pc=6, chord="min7", bass_pc=9)]
    )
    assert chord_label(harmony.windows[0], harmony.keys[0]) == "F♯min7/A"


MAJOR = ([48, 64, 67, 72], [53, 60, 69, 72], [43, 62, 65, 71], [48, 64, 67, 72])
MINOR = ([45, 60, 64, 69], [50, 57, 65, 69], [40, 56, 62, 64], [45, 60, 64, 69])


def keys_of(*sections, signature=None):
    """Signatures of the keys found in cadences, each (chords, semitones up), played twice over."""
    chords = [[key + up for key in chord] for cadence, up in sections for chord in cadence * 2]
    extra = [(0, mido.MetaMessage("key_signature", key=signature))] if signature else []
    return find_harmony(score_of(*blocks(*chords, length=4.0), extra=extra)).keys["fifths"].tolist()


@pytest.mark.parametrize(("up", "fifths"), [(1, -5), (3, -3), (6, 6), (8, -4), (10, -2), (11, 5)])
def test_major_keys_have_the_fewest_signs(up, fifths):
    assert keys_of((MAJOR, up)) == [fifths]


@pytest.mark.parametrize(("up", "fifths"), [(0, 0), (6, -6), (11, 5), (1, -5), (4, 4)])
def test_minor_keys_have_the_fewest_signs(up, fifths):
    """On A, E flat (no D sharp, whose dominant has a double sharp), G sharp, B flat and C sharp."""
    assert keys_of((MINOR, up)) == [fifths]


def test_a_section_is_spelled_beside_the_main_key():
    """D flat, its subdominant G flat, and back; in B the same section is F sharp; the file's signature goes first.

    The dominant of C sharp minor is G sharp, as in Chopin's mazurka op. 6 no. 2, and not A flat.
    """
    d_flat, tritone, b = (MAJOR * 2, 1), (MAJOR, 6), (MAJOR * 2, 11)
    assert keys_of(d_flat, tritone, d_flat) == [-5, -6, -5]
    assert keys_of(b, tritone, b) == [5, 6, 5]
    assert keys_of(tritone, signature="Gb") == [-6]
    assert keys_of((MINOR, 4), (MAJOR, 8), (MINOR, 4)) == [4, 8, 4]


@pytest.mark.parametrize("chord", [c for c in CHORD_TYPES if c.symbol not in ("1", *AUGMENTED_SIXTHS)])
def test_a_shown_chord_reads_back_as_itself(chord):
    shown = chord_name("E♭", chord.symbol)
    assert not set("b#") & set(shown)
    symbol = parse(shown)
    assert symbol is not None
    assert (symbol.root_pc, symbol.chord) == (3, chord.symbol)

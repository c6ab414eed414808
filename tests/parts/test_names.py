"""Names of pitches, degrees, places and cents."""

from __future__ import annotations

import warnings

import pytest

from retune.harmony.vocabulary import CHORD_TYPES, INDEX_OF_SYMBOL
from retune.parts.names import Key, beat_words, chord_tone, chord_words, degree, pitch, signed

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from music21.pitch import Pitch as OtherPitch


@pytest.mark.parametrize("fifths", range(-7, 8))
@pytest.mark.parametrize("minor", [False, True])
def test_every_key_is_named_as_an_independent_library_reads_it(fifths: int, minor: bool) -> None:
    """music21 turns the name back into the key, octaves of B sharp and C flat included."""
    key = Key(fifths, minor)
    for number in range(128):
        name = pitch(number, key.tone(number % 12))
        other = OtherPitch(name.letter + {-2: "--", -1: "-", 0: "", 1: "#", 2: "##"}[name.alter])
        other.octave = name.octave
        assert other.midi == number or number < 12  # music21 has no octave below zero


@pytest.mark.parametrize(
    ("root", "chord", "semitones", "name"),
    [
        ("E", "maj", 4, "G♯"),  # textbook spellings: a third is two letters up, a seventh six
        ("C", "min", 3, "E♭"),
        ("B", "7", 10, "A"),
        ("B", "dim7", 9, "A♭"),
        ("C♯", "dim7", 9, "B♭"),
        ("F", "maj7#11", 6, "B"),
        ("E", "7#9", 3, "F♯♯"),
        ("A♭", "min", 3, "C♭"),
        ("D", "min7b5", 6, "A♭"),
        ("C", "aug", 8, "G♯"),
        ("A♭", "Ger+6", 10, "F♯"),
        ("A♭", "Fr+6", 6, "D"),
    ],
)
def test_chord_tones_are_spelled_from_the_root(root: str, chord: str, semitones: int, name: str) -> None:
    assert chord_tone(root, semitones, INDEX_OF_SYMBOL[chord]) == name


@pytest.mark.parametrize("chord", CHORD_TYPES, ids=lambda c: c.symbol)
def test_every_chord_tone_of_every_type_has_a_playable_name(chord) -> None:
    for fifths in range(-7, 8):
        key = Key(fifths)
        for root in range(12):
            for semitones in chord.intervals:
                name = chord_tone(key.tone(root), semitones, INDEX_OF_SYMBOL[chord.symbol])
                assert len(name) <= 3
                assert str(pitch(60 + (root + semitones) % 12, name))[0] == name[0]


@pytest.mark.parametrize(
    ("chord", "semitones", "word"),
    [
        ("maj", 4, "third"),
        ("dim7", 9, "seventh"),
        ("6", 9, "sixth"),
        ("sus2", 2, "second"),
        ("aug", 8, "fifth"),
        ("It+6", 10, "augmented sixth"),
    ],
)
def test_degrees(chord: str, semitones: int, word: str) -> None:
    assert degree(semitones, INDEX_OF_SYMBOL[chord]) == word


def test_a_chord_without_a_name_is_called_after_its_root() -> None:
    assert chord_words("E♭", -1) == "chord on E♭"
    assert chord_words("E♭", 0) == "E♭ major triad"


@pytest.mark.parametrize(
    ("beat", "words"),
    [
        (1.0, "1"),
        (2.5, "2½"),
        (3.333, "3⅓"),
        (4.6667, "4⅔"),
        (2.97, "3"),
        (1.26, "1¼"),
        (1.12, "1.12"),
        (3.75, "3¾"),
    ],
)
def test_beats_are_written_as_musicians_do(beat: float, words: str) -> None:
    assert beat_words(beat) == words


def test_cents_are_printed_with_a_true_minus() -> None:
    assert [signed(c) for c in (-14, 0, 2)] == ["−14", "0", "+2"]

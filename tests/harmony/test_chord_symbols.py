"""Chord symbols as they stand on lead sheets (common practice, no source)."""

import pytest

from retune.harmony.chord_symbols import parse


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("C", (0, "maj", None)),
        ("Cm", (0, "min", None)),
        ("Cmaj7", (0, "maj7", None)),
        ("CM7", (0, "maj7", None)),
        ("C△7", (0, "maj7", None)),
        ("Cdim", (0, "dim", None)),
        ("C°", (0, "dim", None)),
        ("C°7", (0, "dim7", None)),
        ("Cø", (0, "min7b5", None)),
        ("Cm7b5", (0, "min7b5", None)),
        ("Cm7♭5", (0, "min7b5", None)),
        ("Caug", (0, "aug", None)),
        ("C+", (0, "aug", None)),
        ("C7sus4", (0, "7sus4", None)),
        ("Csus", (0, "sus4", None)),
        ("C6", (0, "6", None)),
        ("Cm6", (0, "min6", None)),
        ("C69", (0, "6/9", None)),
        ("C6/9", (0, "6/9", None)),
        ("Cadd9", (0, "add9", None)),
        ("C9", (0, "9", None)),
        ("C7b9", (0, "7b9", None)),
        ("C13", (0, "13", None)),
        ("F#m7/C#", (6, "min7", 1)),
        ("Bb", (10, "maj", None)),
        ("B♭/D", (10, "maj", 2)),
        ("Cb", (11, "maj", None)),
        ("G7/B", (7, "7", 11)),
        ("A♭ Ger+6", (8, "Ger+6", None)),
    ],
)
def test_reads_lead_sheet_symbols(text, expected):
    assert parse(text) == expected


@pytest.mark.parametrize(
    "text", ["", "N.C.", "NC", "H7", "Verse", "Chorus", "Bridge", "Amen", "c", "Do", "C/x", "E7y"]
)
def test_words_are_no_symbols(text):
    assert parse(text) is None

"""Chord symbols as they stand on lead sheets (common practice, no source)."""

import pytest

music21 = pytest.importorskip("music21")
from music21 import harmony  # noqa: E402

from retune.harmony.chord_symbols import is_no_chord, parse  # noqa: E402
from retune.harmony.vocabulary import CHORD_TYPES, INDEX_OF_SYMBOL  # noqa: E402


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("C", (0, "maj", None)),
        ("Cm", (0, "min", None)),
        ("Cmaj7", (0, "maj7", None)),
        ("CM7", (0, "maj7", None)),
        ("C△7", (0, "maj7", None)),
        ("C△", (0, "maj7", None)),
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
        ("E−7", (4, "min7", None)),
        ("C-7♭5", (0, "min7b5", None)),
        ("CMA7", (0, "maj7", None)),
        ("C^7", (0, "maj7", None)),
        ("Cm/maj7", (0, "minmaj7", None)),
        ("C-△7", (0, "minmaj7", None)),
        ("Cadd2", (0, "add9", None)),
        ("Cno3", (0, "5", None)),
        ("C(omit3)", (0, "5", None)),
        ("C9sus", (0, "9sus4", None)),
        ("C11", (0, "9sus4", None)),
        ("G7(9,13)", (7, "13", None)),
        ("[D♭º7]", (1, "dim7", None)),
    ],
)
def test_reads_lead_sheet_symbols(text, expected):
    assert parse(text) == (*expected, None)


def tones(text):
    """Chord type and pitch classes above the root."""
    symbol = parse(text)
    assert symbol is not None, text
    members = symbol.members
    if members is None:
        members = CHORD_TYPES[INDEX_OF_SYMBOL[symbol.chord]].members
    return symbol.chord, {step for step in range(12) if members >> step & 1}


@pytest.mark.parametrize(
    ("text", "chord", "steps"),
    [
        ("C7b13", "7", {0, 4, 7, 8, 10}),
        ("C7(♭9,♭13)", "7b9", {0, 1, 4, 7, 8, 10}),
        ("C7alt", "7b5", {0, 1, 3, 4, 6, 8, 10}),
        ("C13♯11", "13", {0, 2, 4, 6, 7, 9, 10}),
        ("C13b9", "7b9", {0, 1, 4, 7, 9, 10}),
        ("Cm13", "min9", {0, 2, 3, 7, 9, 10}),
        ("C13sus4", "9sus4", {0, 2, 5, 7, 9, 10}),
        ("Cadd11", "maj", {0, 4, 5, 7}),
        ("Cm7(11)", "min7", {0, 3, 5, 7, 10}),
        ("C7no5", "7", {0, 4, 10}),
        ("C7(no3)", "7", {0, 7, 10}),
        ("C°(maj7)", "dim", {0, 3, 6, 11}),
        ("Cmaj7b5", "", {0, 4, 6, 11}),
        ("C/B♭", "maj", {0, 4, 7, 10}),
        ("C/D", "maj", {0, 2, 4, 7}),
        ("C/G", "maj", {0, 4, 7}),
    ],
)
def test_chords_beside_the_table_have_the_tones_that_are_written(text, chord, steps):
    """Where the type "" or another stands for them, no type of the table has them all."""
    assert tones(text) == (chord, steps)


READ_ALIKE = """
C Cmaj CM Cmin Cm7 Cmin7 C7 CM7 Cmaj7 CmM7 Co7 Cdim7 Cø7 Cm7b5 C+ C+7 Caug7 C7+ C7#5 C7b5 Csus Csus2 C7sus Cm11 C6
Cm6 C6add9 C9 Cm9 CM9 Cadd9 Cadd2 Cadd4 Cadd11 Cmadd9 C5 Comit3 Cmaj7#11 C7#11 C9#11 C7b9 C7#9 C7b13 C7#5#9 C7b9#11
C/E Am/G F#m7/C# G7/F Dm7/G Am7add11 Amin Cmaj7b5 Cmaj7#5 C+M7 C9/E Bm7b5/F Cmb5 Cmadd11 Cm7b9 C7b5b9 C7#5b9 C7b5#9
Cm7#5 C+9 C9#5 C9b5
"""


@pytest.mark.parametrize("text", READ_ALIKE.split())
def test_agrees_with_an_independent_reader_of_chord_symbols(text):
    """That of music21, but for what it reads otherwise: "-" as a flat, elevenths and thirteenths with every third."""
    theirs = harmony.ChordSymbol(text)
    root = theirs.root().pitchClass
    assert parse(text).root_pc == root
    assert tones(text)[1] == {(pitch.pitchClass - root) % 12 for pitch in theirs.pitches}


@pytest.mark.parametrize(
    "text",
    [
        "",
        "N.C.",
        "NC",
        "H7",
        "Verse",
        "Chorus",
        "Bridge",
        "Amen",
        "c",
        "Do",
        "C/x",
        "E7y",
        "am7",
        "C8",
        "Cadd3b",
        "C//",
        "Add",
    ],
)
def test_words_are_no_symbols(text):
    assert parse(text) is None


def test_signs_for_no_chord():
    assert all(map(is_no_chord, ("N.C.", "NC", "n.c.", "(N.C.)", "No chord", "tacet")))
    assert not any(map(is_no_chord, ("C", "", "none", "Chorus")))


@pytest.mark.parametrize("both", ["Csus24", "Csus2/4", "Csus2sus4", "Csus4sus2"])
def test_two_suspensions_stand_in_the_place_of_the_third(both):
    symbol = parse(both)
    assert symbol is not None
    assert symbol.members == 1 << 0 | 1 << 2 | 1 << 5 | 1 << 7

"""Pitch classes and chords as a musician writes them."""

from __future__ import annotations

import numpy as np

from retune.harmony.vocabulary import AUGMENTED_SIXTH_INDICES, AUGMENTED_SIXTHS, CHORD_TYPES

LETTERS = "FCGDAEB"  # the line of fifths, F = -1
LOWEST_MAJOR, LOWEST_MINOR = -4, -2
"""Lowest place on the line of fifths, above the key signature's own, that a chromatic note is spelled with.

In C major: A♭ E♭ B♭ F C G D A E B F♯ C♯; in A minor: B♭ F C G D A E B F♯ C♯ G♯ D♯ (common practice, no
source).
"""

MOST_SIGNS = 2  # nobody writes, or reads, a note with three
FIFTHS_ABOVE_ROOT = (0, -5, 2, -3, 4, -1, -6, 1, -4, 3, -2, 5)
"""Way on the line of fifths from a root to the tone so many semitones above it: minor second, major second …"""
OTHER_FIFTHS = {6: 6, 8: 8, 9: -9, 3: 9, 10: 10}
"""The same of rarer tones: augmented fourth and fifth, diminished seventh, augmented second, augmented sixth."""


def spell(pc: int, fifths: int, *, minor: bool = False) -> str:
    """Name of a pitch class in a key signature: `spell(6, 0)` is "F♯", `spell(10, 0)` is "B♭"."""
    return name_of_fifth(place_of(pc, fifths, minor=minor))


def place_of(pc: int, fifths: int, *, minor: bool = False) -> int:
    """Place on the line of fifths at which a key signature has a pitch class."""
    lowest = fifths + (LOWEST_MINOR if minor else LOWEST_MAJOR)
    return lowest + (7 * pc - lowest) % 12


def root_name(window: np.void, key: np.void) -> str:
    """Name of a window's root, by the key."""
    return name_of_fifth(_root_place(window, key))


def _root_place(window: np.void, key: np.void) -> int:
    """Place of a window's root; that of an augmented sixth is a minor second above the note it resolves to."""
    root, fifths, minor = int(window["root_pc"]), int(key["fifths"]), bool(key["minor"])
    if is_augmented_sixth(int(window["chord"])):
        return place_of((root - 1) % 12, fifths, minor=minor) + FIFTHS_ABOVE_ROOT[1]
    return place_of(root, fifths, minor=minor)


def is_augmented_sixth(chord: int) -> bool:
    """Whether a chord type, an index into CHORD_TYPES or -1, is an augmented sixth."""
    return chord in AUGMENTED_SIXTH_INDICES


def spell_in_chord(pc: int, window: np.void, key: np.void) -> str:
    """Name of a pitch class in a window: a chord tone is a third, a fifth … of its root, others follow the key.

    The major third of B is D♯ in any key, and over the A♭ of a German sixth stands F♯.
    """
    chord = int(window["chord"])
    step = (pc - int(window["root_pc"])) % 12
    if chord < 0 or step not in CHORD_TYPES[chord].intervals:
        return spell(pc, int(key["fifths"]), minor=bool(key["minor"]))
    return name_within_reach(_root_place(window, key) + fifths_above_root(step, chord))


def name_within_reach(place: int) -> str:
    """Name of a place on the line of fifths; where it would take three signs, that of the same key on a piano."""
    name = name_of_fifth(place)
    return name if len(name) <= 1 + MOST_SIGNS else spell((7 * place) % 12, 0)


def fifths_above_root(step: int, chord: int) -> int:
    """Way on the line of fifths from the root of a chord type (-1: none) to the tone `step` semitones above."""
    if chord < 0:
        return FIFTHS_ABOVE_ROOT[step]
    tones, sixth = set(CHORD_TYPES[chord].intervals), is_augmented_sixth(chord)
    # The rarer name where the usual one is taken: a fifth beside the tritone, a third beside the second, …
    other = {6: 7 in tones or sixth, 8: 7 not in tones, 9: {3, 6} <= tones, 3: 4 in tones, 10: sixth}
    return OTHER_FIFTHS[step] if other.get(step, False) else FIFTHS_ABOVE_ROOT[step]


def name_of_fifth(place: int) -> str:
    """Name of a place on the line of fifths: C = 0, G = 1, F = -1."""
    accidentals, letter = divmod(place + 1, 7)
    return LETTERS[letter] + ("♯" * accidentals if accidentals > 0 else "♭" * -accidentals)


NUMBERS = ("fourth", "octave", "fifth", "second", "sixth", "third", "seventh")
"""Intervals by their way on the line of fifths, from -1 on; what is alike seven places on differs in its quality."""


def altered_interval(lower: str, upper: str) -> str:
    """What an augmented or diminished interval is called, A♭–E "augmented fifth"; "" for any other interval."""
    way = place_of_name(upper) - place_of_name(lower)
    if -5 <= way <= 5:
        return ""
    quality = "augmented" if way > 0 else "diminished"
    times = ("", "doubly ", "triply ", "quadruply ", "quintuply ")[(abs(way) - 6) // 7]
    return f"{times}{quality} {NUMBERS[(way + 1) % 7]}"


def place_of_name(name: str) -> int:
    """Place on the line of fifths of a note name with ♯ and ♭: the way back from `name_of_fifth`."""
    return LETTERS.index(name[0]) - 1 + 7 * (name.count("♯") - name.count("♭"))


_SHOWN = {chord.symbol: chord.symbol.replace("b", "♭").replace("#", "♯") for chord in CHORD_TYPES}
_SHOWN |= {"maj": "", "1": " unison"} | {symbol: f" {symbol}" for symbol in AUGMENTED_SIXTHS}
"""How a chord symbol looks behind a root where it differs: "C", and never "C1", which reads as a note."""


def chord_name(root: str, symbol: str) -> str:
    """A chord in lead-sheet form, of a root's name and a symbol of the vocabulary: "C", "Emin7♭5"."""
    return root + _SHOWN.get(symbol, symbol)


def chord_label(window: np.void, key: np.void) -> str:
    """A window's harmony in lead-sheet form, spelled in a key: "F♯min7/A"."""
    root = root_name(window, key)
    if int(window["chord"]) >= 0:
        symbol = CHORD_TYPES[int(window["chord"])].symbol
    else:
        symbol = "(" + " ".join(str(s) for s in range(12) if int(window["members"]) >> s & 1) + ")"
    bass = int(window["bass_pc"])
    under = "" if bass == int(window["root_pc"]) else "/" + spell_in_chord(bass, window, key)
    return chord_name(root, symbol) + under

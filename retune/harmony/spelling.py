"""Pitch classes and chords as a musician writes them."""

from __future__ import annotations

import numpy as np

from retune.harmony.vocabulary import CHORD_TYPES

LETTERS = "FCGDAEB"  # the line of fifths, F = -1
LOWEST_MAJOR, LOWEST_MINOR = -4, -2
"""Lowest place on the line of fifths, above the key signature's own, that a chromatic note is spelled with.

In C major: A♭ E♭ B♭ F C G D A E B F♯ C♯; in A minor: B♭ F C G D A E B F♯ C♯ G♯ D♯ (common practice, no
source).
"""


def spell(pc: int, fifths: int, *, minor: bool = False) -> str:
    """Name of a pitch class in a key signature: `spell(6, 0)` is "F♯", `spell(10, 0)` is "B♭"."""
    lowest = fifths + (LOWEST_MINOR if minor else LOWEST_MAJOR)
    return name_of_fifth(lowest + (7 * pc - lowest) % 12)


def name_of_fifth(place: int) -> str:
    """Name of a place on the line of fifths: C = 0, G = 1, F = -1."""
    accidentals, letter = divmod(place + 1, 7)
    return LETTERS[letter] + ("♯" * accidentals if accidentals > 0 else "♭" * -accidentals)


def chord_label(window: np.void, key: np.void) -> str:
    """A window's harmony in lead-sheet form, spelled in a key: "F♯min7/A"."""
    fifths, minor = int(key["fifths"]), bool(key["minor"])
    root = spell(int(window["root_pc"]), fifths, minor=minor)
    if int(window["chord"]) >= 0:
        symbol = CHORD_TYPES[int(window["chord"])].symbol
    else:
        symbol = "(" + " ".join(str(s) for s in range(12) if int(window["members"]) >> s & 1) + ")"
    bass = int(window["bass_pc"])
    under = "" if bass == int(window["root_pc"]) else "/" + spell(bass, fifths, minor=minor)
    return root + ("" if symbol == "maj" else symbol) + under

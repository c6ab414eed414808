"""Conversions between the units of the project: ratios, cents, keys, hertz, bend steps, names of notes.

Cents are 1200·log2(ratio) (Ellis, in Helmholtz, *On the Sensations of Tone*, 2nd English ed. 1885, App. XX).
"""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from retune.constants import A4_HZ, A4_KEY, BEND_CENTRE, FINE_TUNING_CENTRE, OCTAVE_CENTS

PC_OF_LETTER = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))
STEPS_OF_SIGN = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}
STEPS_OF_SIGN |= {"##": 2, "♯♯": 2, "x": 2, "𝄪": 2, "bb": -2, "♭♭": -2, "𝄫": -2}

FloatOrArray = TypeVar("FloatOrArray", float, NDArray[np.float64])


def ratio_to_cents(numerator: int, denominator: int = 1) -> float:
    """Size of the interval numerator:denominator [cents]."""
    return OCTAVE_CENTS * math.log2(numerator / denominator)


def key_to_hz(key: FloatOrArray, offset_cents: FloatOrArray, reference_hz: float = A4_HZ) -> FloatOrArray:
    """Frequency [Hz] of a MIDI key with an offset [cents] from equal temperament at the reference."""
    result: FloatOrArray = reference_hz * 2.0 ** ((key - A4_KEY) / 12.0 + offset_cents / OCTAVE_CENTS)
    return result


def reference_shift_cents(reference_hz: float) -> float:
    """What a reference pitch other than A4 = 440 Hz adds to every offset [cents]."""
    return OCTAVE_CENTS * math.log2(reference_hz / A4_HZ)


def fine_tuning_cents(value: int) -> float:
    """What 14 bits of fine tuning say [cents], -100 up to almost 100 (RPN 1, master fine tuning, tables of twelve)."""
    return (value - FINE_TUNING_CENTRE) * 100.0 / FINE_TUNING_CENTRE


def bend_step_cents(range_semitones: float) -> float:
    """Distance of neighbouring bend values [cents]."""
    return 100.0 * range_semitones / BEND_CENTRE


def pitch_class_of(name: str) -> int | None:
    """Pitch class of a note name such as "A", "f#", "B♭"; None for anything else."""
    letter, sign = name.strip()[:1].upper(), name.strip()[1:]
    if letter not in PC_OF_LETTER or sign not in STEPS_OF_SIGN:
        return None
    return (PC_OF_LETTER[letter] + STEPS_OF_SIGN[sign]) % 12

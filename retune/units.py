"""Conversions between the units of the project: ratios, cents, keys, hertz, bend steps.

Cents are 1200·log2(ratio) (Ellis, in Helmholtz, *On the Sensations of Tone*, 2nd English ed. 1885, App. XX).
"""

from __future__ import annotations

import math
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from retune.constants import A4_HZ, A4_KEY, BEND_CENTRE, FINE_TUNING_CENTRE, OCTAVE_CENTS

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

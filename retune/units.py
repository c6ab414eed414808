"""Conversions between the units of the project: ratios, cents, keys, hertz, bend steps.

Cents are 1200·log2(ratio) (Ellis, in Helmholtz, *On the Sensations of Tone*, 2nd English ed. 1885, App. XX).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import NDArray

from retune.constants import A4_HZ, A4_KEY, BEND_CENTRE, BEND_MAX

if TYPE_CHECKING:
    import sympy

FloatOrArray = TypeVar("FloatOrArray", float, NDArray[np.float64])


def ratio_to_cents(numerator: int, denominator: int = 1) -> float:
    """Size of the interval numerator:denominator [cents]."""
    return 1200.0 * math.log2(numerator / denominator)


def rational_to_cents(ratio: sympy.Rational) -> float:
    """Size of an exact ratio [cents]."""
    return ratio_to_cents(int(ratio.p), int(ratio.q))


def harmonic_distance(numerator: int, denominator: int) -> float:
    """Tenney's harmonic distance log2(n·d) of a ratio in lowest terms (Tenney 1983)."""
    return math.log2(numerator * denominator)


def key_to_hz(key: FloatOrArray, offset_cents: FloatOrArray, reference_hz: float = A4_HZ) -> FloatOrArray:
    """Frequency [Hz] of a MIDI key with an offset [cents] from equal temperament at the reference."""
    result: FloatOrArray = reference_hz * 2.0 ** ((key - A4_KEY) / 12.0 + offset_cents / 1200.0)
    return result


def reference_shift_cents(reference_hz: float) -> float:
    """What a reference pitch other than A4 = 440 Hz adds to every offset [cents]."""
    return 1200.0 * math.log2(reference_hz / A4_HZ)


def cents_to_bend(cents: NDArray[np.float64], range_semitones: float) -> NDArray[np.int64]:
    """14-bit bend value (0–16383, centre 8192) nearest to `cents`, clipped to the range.

    MIDI 1.0 Detailed Specification 4.2.1 p. 19; form of MPE M1-100-UM v1.1 C.3.
    """
    steps = np.rint(np.asarray(cents, dtype=np.float64) * BEND_CENTRE / (100.0 * range_semitones)).astype(
        np.int64
    )
    return np.clip(BEND_CENTRE + steps, 0, BEND_MAX)


def bend_to_cents(bend: NDArray[np.int64], range_semitones: float) -> NDArray[np.float64]:
    """Cents a 14-bit bend value stands for at a range of `range_semitones`."""
    return (np.asarray(bend, dtype=np.float64) - BEND_CENTRE) * (100.0 * range_semitones / BEND_CENTRE)


def bend_step_cents(range_semitones: float) -> float:
    """Distance of neighbouring bend values [cents]."""
    return 100.0 * range_semitones / BEND_CENTRE

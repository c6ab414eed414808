"""The sounds of our own: how strong each partial of a steady tone is.

Every sound is a sum of exact harmonics, so that tones in a whole-number ratio share partials and stand still,
and tones out of it beat. `AMPLITUDES` maps a sound's name to a function of the fundamental.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from collections.abc import Callable

FloatArray = NDArray[np.float64]

HIGHEST_PARTIAL_HZ = 9000.0  # above this partials add hiss and no pitch; chosen by ear
ORGAN_PARTIALS = 12
VOICE_PARTIALS = 32

# Open back vowel of male speakers: formant frequencies [Hz] and levels [dB] as averaged by Peterson & Barney,
# "Control methods used in a study of the vowels", JASA 24 (1952), table II (quoted from memory, unchecked);
# a fourth resonance and the bandwidths [Hz] are chosen by ear.
VOWEL_FORMANTS = ((730.0, -1.0, 110.0), (1090.0, -5.0, 120.0), (2440.0, -24.0, 160.0), (3400.0, -30.0, 250.0))
VOICE_SLOPE_DB_PER_OCTAVE = (
    -6.0
)  # source −12 plus radiation +6 dB per octave (usual textbook model, from memory)
VOICE_FLOOR = 0.02  # between the resonances partials stay this strong, so that they can be heard to beat


def pure(fundamental_hz: float, rate: int) -> FloatArray:
    """Return a sine alone: for measuring and for tuning forks."""
    return np.ones(1)


def organ(fundamental_hz: float, rate: int) -> FloatArray:
    """Return an open flue pipe of middling brightness: partial k at 1/k, fading out towards the twelfth."""
    k = np.arange(1, _count(fundamental_hz, rate, ORGAN_PARTIALS) + 1)
    return _unit_power(np.exp(-0.09 * (k - 1)) / k)


def voice(fundamental_hz: float, rate: int) -> FloatArray:
    """Return a choir-like "ah" without vibrato."""
    hz = fundamental_hz * np.arange(1, _count(fundamental_hz, rate, VOICE_PARTIALS) + 1)
    shape = np.full(len(hz), VOICE_FLOOR)
    for centre, level_db, width in VOWEL_FORMANTS:
        shape += 10.0 ** (level_db / 20.0) / (1.0 + ((hz - centre) / width) ** 2)
    # the fundamental carries the pitch of high voices, whose first resonance is tuned to it in singing
    shape[0] = max(shape[0], 0.5)
    slope = (hz / hz[0]) ** (VOICE_SLOPE_DB_PER_OCTAVE / (20.0 * np.log10(2.0)))
    return _unit_power(shape * slope)


AMPLITUDES: dict[str, Callable[[float, int], FloatArray]] = {"organ": organ, "voice": voice, "pure": pure}
"""Name of a sound → function (fundamental [Hz], sample rate [Hz]) → amplitude of partials 1, 2, 3 …, whose
squares add up to 1: every tone of one velocity has the same power."""


def _count(fundamental_hz: float, rate: int, most: int) -> int:
    highest = min(HIGHEST_PARTIAL_HZ, 0.45 * rate)
    return max(1, min(most, int(highest / fundamental_hz)))


def _unit_power(amplitudes: FloatArray) -> FloatArray:
    result: FloatArray = amplitudes / np.sqrt(np.sum(amplitudes**2))
    return result

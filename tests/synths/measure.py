"""The pitch of a note out of its sound.

A steady tone's frequency is where its windowed spectrum is largest: the top of a parabola through the logarithms
of three neighbouring places, eight to a bin. A Blackman-Harris window keeps neighbouring partials from pulling it:
they are 92 dB down four bins away (Harris 1978, Proc. IEEE 66, table I).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Sound = NDArray[np.float64]

_BLACKMAN_HARRIS = (0.35875, -0.48829, 0.14128, -0.01168)  # Harris 1978, table I, four terms
_PADDING = 8


def window(n: int) -> Sound:
    """A Blackman-Harris window of n samples."""
    at = 2 * np.pi * np.arange(n) / n
    return sum(a * np.cos(k * at) for k, a in enumerate(_BLACKMAN_HARRIS))


def frequency_near(sound: Sound, rate: float, hertz: float, reach_cents: float = 90.0) -> float:
    """Frequency [Hz] of the loudest partial within `reach_cents` of `hertz`.

    Raises `ValueError` if the loudest place in reach is no peak: there is no partial of its own.
    """
    size = _PADDING * len(sound)
    spectrum = np.abs(np.fft.rfft((sound - sound.mean()) * window(len(sound)), size))
    bins = np.arange(len(spectrum)) * rate / size
    reach = 2 ** (reach_cents / 1200)
    inside = np.flatnonzero((bins > hertz / reach) & (bins < hertz * reach))
    top = int(inside[np.argmax(spectrum[inside])])
    if top in (inside[0], inside[-1]):
        raise ValueError(f"no partial within {reach_cents} cents of {hertz:.1f} Hz")
    below, at, above = np.log(spectrum[top - 1 : top + 2])
    lean = (below - above) / (2 * (below - 2 * at + above))
    return float((top + lean) * rate / size)


def cents_near(sound: Sound, rate: float, key: int, reach_cents: float = 90.0) -> float:
    """Cents from the equal-tempered pitch of a key (A4 = 440 Hz) at which it is heard."""
    hertz = 440.0 * 2 ** ((key - 69) / 12)
    return 1200 * math.log2(frequency_near(sound, rate, hertz, reach_cents) / hertz)


def swell(sound: Sound, rate: float, low: float, high: float) -> tuple[float, float]:
    """(beats a second, depth 0-1) of the sound between two frequencies [Hz].

    The envelope of the band is taken by the analytic signal; its strongest swing is the beat.
    """
    n = len(sound)
    spectrum = np.fft.fft(sound * window(n))
    bins = np.fft.fftfreq(n, 1 / rate)
    spectrum[(bins < low) | (bins > high)] = 0
    inner = slice(n // 4, 3 * n // 4)
    envelope = (np.abs(np.fft.ifft(2 * spectrum)) / np.maximum(window(n), 1e-9))[inner]
    swing = np.abs(np.fft.rfft((envelope - envelope.mean()) * window(len(envelope)), 8 * len(envelope)))
    rates = np.arange(len(swing)) * rate / (8 * len(envelope))
    slow = rates < (high - low)
    top = int(np.argmax(np.where(slow, swing, 0)))
    depth = 2 * swing[top] / window(len(envelope)).sum() / envelope.mean()
    return float(rates[top]), float(depth)

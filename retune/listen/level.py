"""Loudness: peaks, matching two halves, fades. Samples are float arrays, 1.0 is full scale."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def db_to_gain(db: float) -> float:
    """Linear factor of a level [dB]."""
    return float(10.0 ** (db / 20.0))


def rms(samples: FloatArray) -> float:
    """Root mean square; 0 for nothing."""
    return float(np.sqrt(np.mean(samples**2))) if len(samples) else 0.0


def matched(samples: FloatArray, to: FloatArray) -> FloatArray:
    """Return `samples` made as loud as `to` (equal RMS); silence stays as it is."""
    own = rms(samples)
    return samples * (rms(to) / own) if own > 0.0 else samples


def with_peak(samples: FloatArray, peak_dbfs: float) -> FloatArray:
    """Return samples whose largest value is at `peak_dbfs`; silence stays silence."""
    peak = float(np.max(np.abs(samples), initial=0.0))
    return samples * (db_to_gain(peak_dbfs) / peak) if peak > 0.0 else samples


def faded(samples: FloatArray, fade_s: float, rate: int) -> FloatArray:
    """Return a copy that rises from and falls to silence within `fade_s` at either end."""
    result = samples.copy()
    count = min(len(result) // 2, int(fade_s * rate))
    ramp = np.sin(0.5 * np.pi * (np.arange(count) + 0.5) / max(count, 1)) ** 2
    result[:count] *= ramp
    result[len(result) - count :] *= ramp[::-1]
    return result

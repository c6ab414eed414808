"""Measuring rendered sound: frequencies from the phase of two long windows, levels in decibels."""

from __future__ import annotations

import math

import numpy as np


def measured_hz(samples: np.ndarray, near_hz: float, rate: int) -> float:
    """Frequency of the strongest partial within 30 cents of `near_hz`.

    The peak of a long spectrum says it to a fraction of a hertz; how far its phase turns between two windows half
    a span apart says the rest. The windows have the same shape, so the leakage of neighbours cancels to far below a
    thousandth of a cent for partials a few hertz away and a second of sound.
    """
    half = len(samples) // 2
    window = np.blackman(half)
    size = 1 << (4 * half).bit_length()
    spectrum = np.abs(np.fft.rfft(samples[:half] * window, size))
    hz = np.fft.rfftfreq(size, 1.0 / rate)
    close = np.flatnonzero(np.abs(1200.0 * np.log2(np.maximum(hz, 1.0) / near_hz)) < 30.0)
    coarse = hz[close[np.argmax(spectrum[close])]]
    turn = np.exp(-2j * np.pi * coarse / rate * np.arange(2 * half))
    first = np.angle(np.sum(samples[:half] * window * turn[:half]))
    second = np.angle(np.sum(samples[half : 2 * half] * window * turn[half:]))
    slip = (second - first + math.pi) % (2 * math.pi) - math.pi
    return float(coarse + slip / (2 * math.pi) * rate / half)


def cents(high: float, low: float) -> float:
    return 1200.0 * math.log2(high / low)


def decibels(ratio: float) -> float:
    return 20.0 * math.log10(ratio)


def rms(samples: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(samples))))


def amplitude(samples: np.ndarray, hz: float, rate: int) -> float:
    """Amplitude of the partial at `hz`."""
    window = np.blackman(len(samples))
    turn = np.exp(-2j * np.pi * hz / rate * np.arange(len(samples)))
    return float(2.0 * abs(np.sum(samples * window * turn)) / window.sum())

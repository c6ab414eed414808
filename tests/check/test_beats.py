"""Beat rates of decoded files against the tuner's table.

B. Capleton, Theory and Practice of Piano Tuning (2007), as reprinted in J. Neurosci. 32(35), 2012, table 1: beats a
second of intervals in equal temperament at A4 = 440 Hz.
"""

from __future__ import annotations

import math

import pytest

from retune.check import decode
from retune.units import key_to_hz
from tests.check.build import smf, steps

RATIOS = {"third": (4, 5, 4), "fifth": (7, 3, 2), "fourth": (5, 4, 3), "sixth": (9, 5, 3)}
F3, F_SHARP3, G3, A_FLAT3, A3, C4 = 53, 54, 55, 56, 57, 60
TABLE = [
    (F3, "third", 6.9),
    (F_SHARP3, "third", 7.3),
    (G3, "third", 7.8),
    (A_FLAT3, "third", 8.2),
    (A3, "third", 8.7),
    (C4, "third", 10.4),
    (F3, "fifth", 0.6),
    (A3, "fifth", 0.7),
    (F3, "fourth", 0.8),
    (A3, "fourth", 1.0),
    (F3, "sixth", 7.9),
    (A3, "sixth", 10.0),
]


def beats(low: int, interval: str, *, wheel: int) -> float:
    """Beats a second of two decoded notes, the upper one bent on a channel of its own."""
    semitones, n, m = RATIOS[interval]
    bend = f"00 E1 {wheel & 127:02X} {wheel >> 7:02X}"
    chord = f"00 90 {low:02X} 40 00 91 {low + semitones:02X} 40"
    off = f"60 80 {low:02X} 40 00 81 {low + semitones:02X} 40"
    sounding = decode(smf(f"{bend} {chord} {off}"))
    hertz = [key_to_hz(float(sounding.notes["key"][k]), steps(sounding, k)[0][2]) for k in (0, 1)]
    return abs(n * hertz[0] - m * hertz[1])


@pytest.mark.parametrize(("low", "interval", "rate"), TABLE)
def test_equal_temperament_beats_as_the_tuner_counts(low: int, interval: str, rate: float) -> None:
    assert beats(low, interval, wheel=8192) == pytest.approx(rate, abs=0.051)


@pytest.mark.parametrize(("low", "interval", "rate"), TABLE)
def test_pure_interval_to_the_nearest_bend_hardly_beats(low: int, interval: str, rate: float) -> None:
    """Half a step of range 2 is 0.0122 cents: a beat in ten seconds at most for these intervals."""
    semitones, n, m = RATIOS[interval]
    cents = 1200 * math.log2(n / m) - 100 * semitones
    assert beats(low, interval, wheel=8192 + round(cents * 8192 / 200)) < 0.012
    assert beats(low, interval, wheel=8192 + round(cents * 8192 / 200)) < rate / 40

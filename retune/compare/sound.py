"""How a tuning sounds: beats per second of consonant pairs, and the roughness of all pairs.

All pitches are those of `TunedNotes`, so a reference pitch other than 440 Hz is in the offsets already.

Beats: two tones near the ratio n:m have coinciding partials n·f1 and m·f2, which beat at |n·f1 − m·f2| per
second (the formula of piano tuners' beat tables, e.g. Capleton, *Theory and Practice of Piano Tuning*, 2007).

Roughness: P. N. Vassilakis, diss. UCLA 2001 (also 2005), on the curve of Plomp & Levelt, *JASA* 38, 1965, in
the form of Sethares, *JASA* 94(3), 1993: every two partials of amplitudes a1, a2 at f1 <= f2 add
X^0.1 · Y^3.11 / 2 · Z, with X = a1·a2, Y = 2·min(a)/(a1 + a2), Z = e^(−3.5·s·Δf) − e^(−5.75·s·Δf),
s = 0.24/(0.0207·f1 + 18.96).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.ratios.consonances import SENARIO, SEPTIMAL
from retune.tuning.rows import overlapping
from retune.units import key_to_hz

if TYPE_CHECKING:
    from retune.check.measures.pairs import Pairs
    from retune.check.measures.tuned import TunedNotes

Floats = NDArray[np.float64]

DISTANCE_OF_GREATEST_ROUGHNESS = 0.24  # d*, Sethares 1993
SLOW_DECAY, FAST_DECAY = 3.5, 5.75  # b1, b2
SLOPE, INTERCEPT = 0.0207, 18.96  # s1, s2
AMPLITUDE_EXPONENT, FLUCTUATION_EXPONENT = 0.1, 3.11  # Vassilakis 2001
PARTIALS = 6  # harmonic, of amplitude 1/k: the tones of Vassilakis' own table of dyads
ROUGHNESS_GRID_CENTS = 0.1  # dyads nearer than this are worked out once; chosen, far below any effect
DYADS_AT_ONCE = 20_000  # bounds the memory: each has 66 pairs of partials


_RATIOS = np.array([[form.get(step, (0, 0)) for step in range(12)] for form in (SENARIO, SEPTIMAL)])
"""(2, 12, 2) ratio of each form of each consonance. No ear hears the 81st partial: thirds of fifths beat as 5/4 do."""


def beat_rates(notes: TunedNotes, pairs: Pairs) -> Floats:
    """Beats per second of each consonant pair at its lowest coinciding partials."""
    key = notes.key[notes.note].astype(np.float64)
    falling = key[pairs.later] < key[pairs.earlier]
    lower = np.where(falling, pairs.later, pairs.earlier)
    upper = np.where(falling, pairs.earlier, pairs.later)
    f1, f2 = (key_to_hz(key[row], notes.cents[row]) for row in (lower, upper))
    octaves, interval = np.divmod((key[upper] - key[lower]).astype(np.int64), 12)
    above = _RATIOS[pairs.form, interval]
    numerator = above[:, 0] << octaves
    common = np.gcd(numerator, above[:, 1])
    rates: Floats = np.abs(numerator // common * f1 - above[:, 1] // common * f2)
    return rates


def roughness(f1: Floats, f2: Floats) -> Floats:
    """Roughness of two tones of six partials at fundamentals `f1`, `f2` [Hz], their own partials included.

    Times 100 it is the scale of Vassilakis' table of dyads, where a minor second is about 40 and an octave 2.
    """
    order = np.arange(1, PARTIALS + 1)
    partials = np.concatenate([np.multiply.outer(f1, order), np.multiply.outer(f2, order)], axis=-1)
    amplitudes = np.tile(1.0 / order, 2)
    first, second = np.triu_indices(2 * PARTIALS, 1)
    low = np.minimum(partials[..., first], partials[..., second])
    apart = np.abs(partials[..., first] - partials[..., second])
    weak = np.minimum(amplitudes[first], amplitudes[second])
    strong = np.maximum(amplitudes[first], amplitudes[second])
    loudness = (weak * strong) ** AMPLITUDE_EXPONENT
    fluctuation = 0.5 * (2.0 * weak / (weak + strong)) ** FLUCTUATION_EXPONENT
    total: Floats = (loudness * fluctuation * plomp_levelt(low, apart)).sum(axis=-1)
    return total


def plomp_levelt(low_hz: Floats, apart_hz: Floats) -> Floats:
    """Sensory dissonance of two sines at `low_hz` and `low_hz` + `apart_hz`, without their amplitudes."""
    scaled = DISTANCE_OF_GREATEST_ROUGHNESS / (SLOPE * low_hz + INTERCEPT) * apart_hz
    curve: Floats = np.exp(-SLOW_DECAY * scaled) - np.exp(-FAST_DECAY * scaled)
    return curve


def mean_beat_rate(notes: TunedNotes, pairs: Pairs) -> float | None:
    """Duration-weighted mean beats per second of all consonant pairs; None without a pair."""
    return float(beat_rates(notes, pairs) @ pairs.length) / pairs.weight if pairs.weight else None


def mean_roughness(notes: TunedNotes) -> float | None:
    """Duration-weighted mean roughness, times 100, of all pairs that sound together; None without a pair."""
    order = np.argsort(notes.start, kind="stable")
    start, end = notes.start[order], notes.end[order]
    a, b, _ = overlapping(start, end)
    if not len(a):
        return None
    ticks = np.minimum(end[a], end[b]) - start[b]
    cents = (notes.key[notes.note] * 100.0 + notes.cents)[order]
    pitch = np.rint(cents / ROUGHNESS_GRID_CENTS).astype(np.int64)
    low, high = np.minimum(pitch[a], pitch[b]), np.maximum(pitch[a], pitch[b])
    dyads, of_pair = np.unique(low << 32 | high, return_inverse=True)
    weight = np.bincount(of_pair, weights=ticks)
    total = 0.0
    for first in range(0, len(dyads), DYADS_AT_ONCE):
        some = slice(first, first + DYADS_AT_ONCE)
        f1, f2 = (
            key_to_hz(tone * (ROUGHNESS_GRID_CENTS / 100.0), np.zeros(len(tone)))
            for tone in (dyads[some] >> 32, dyads[some] & 0xFFFFFFFF)
        )
        total += float(roughness(f1, f2) @ weight[some])
    return 100.0 * total / float(weight.sum())

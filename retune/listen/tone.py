"""The exact tone: steady harmonics at exact frequencies, in pure NumPy.

A stretch of N samples of one pitch is a sum of harmonics cos(k·ω·n + φ_k). Writing n = a·B + b and using
cos(x + y) = cos x·cos y − sin x·sin y, the whole stretch is one product of an (N/B, 2K) and a (2K, B)
matrix: some 2·K·(N/B + B) sines instead of K·N, and the rest is what BLAS does best. Phases are float64,
counted in cycles and reduced before they are used, so frequencies are exact over hours.
"""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.arrays import begins
from retune.listen.heard import Rows, frequencies
from retune.listen.spectra import AMPLITUDES

if TYPE_CHECKING:
    from collections.abc import Callable

FloatArray = NDArray[np.float64]

ATTACK_S = 0.015
FADE_S = 0.040  # after the end of a note; both short enough to keep rhythm plain, long enough not to click
PEDAL_DECAY_S = 0.7  # a tone held by the pedal alone falls to 1/e in this time; chosen by ear
_BLOCK = 1 << 22  # samples of a tone that are worked on at once
CLICK_S = 0.03
CLICK_HZ = 1800.0
CLICK_GAIN = 0.35


def render_tones(
    rows: Rows, *, sound: str, rate: int, length_s: float, on_progress: Callable[[float], None] | None = None
) -> FloatArray:
    """Return samples (mono, not yet levelled) of all rows; `length_s` seconds long, what lies beyond is cut.

    `sound` is a name of `retune.listen.spectra.AMPLITUDES`; `on_progress` is called with the share done.
    """
    out = np.zeros(math.ceil(length_s * rate))
    hz = frequencies(rows)
    first = np.flatnonzero(begins(rows["tone"]))
    bounds = np.append(first, len(rows))
    for index, (lo, hi) in enumerate(itertools.pairwise(bounds)):
        _add_tone(out, rows[lo:hi], hz[lo:hi], sound, rate)
        if on_progress is not None and index % 16 == 0:
            on_progress(index / len(first))
    return out


def _add_tone(out: FloatArray, rows: Rows, hz: FloatArray, sound: str, rate: int) -> None:
    """Add one tone, block by block; its phase runs on through all its rows."""
    edges_s = np.append(rows["start_s"], rows["end_s"][-1] + FADE_S)
    edges = np.minimum(np.ceil(edges_s * rate).astype(np.int64), len(out))
    if edges[0] >= edges[-1]:
        return
    steps = hz / rate
    turns = np.append(0.0, hz * np.diff(edges_s))[:-1]
    begun, cycles = [], 0.0
    for row, turn in enumerate(turns.tolist()):
        cycles = (cycles + turn) % 1.0
        begun.append(
            cycles + steps[row] * (edges[row] - edges_s[row] * rate)
        )  # phase at the first whole sample
    for start in range(int(edges[0]), int(edges[-1]), _BLOCK):
        stop = min(start + _BLOCK, int(edges[-1]))
        samples = np.empty(stop - start)
        first, last = np.searchsorted(edges, [start, stop - 1], side="right") - 1
        for row in range(int(first), int(last) + 1):
            lo, hi = max(start, int(edges[row])), min(stop, int(edges[row + 1]))
            phase = (begun[row] + steps[row] * (lo - int(edges[row]))) % 1.0
            amplitudes = AMPLITUDES[sound](float(hz[row]), rate)
            samples[lo - start : hi - start] = _harmonics(amplitudes, float(steps[row]), phase, hi - lo)
        _shape(samples, start - int(edges[0]), rows, float(edges[0]), rate)
        out[start:stop] += samples * (_level(rows["velocity"][0]) * rows["gain"][0])


def _harmonics(amplitudes: FloatArray, step: float, phase: float, count: int) -> FloatArray:
    """`count` samples of harmonics; the fundamental has `step` cycles a sample and starts at `phase`."""
    width = max(1, math.isqrt(count))
    height = -(-count // width)
    k = np.arange(1, len(amplitudes) + 1)
    # spread phases keep the peak low (Schroeder, "Synthesis of low-peak-factor signals", IEEE Trans. Inf.
    # Theory 16, 1970); they do not move any frequency
    spread = -0.5 * k * (k - 1) / len(k)
    across = np.outer(k, step * np.arange(width)) % 1.0
    down = (np.outer(phase + step * width * np.arange(height), k) + spread) % 1.0
    turn = 2.0 * np.pi
    left = np.concatenate([amplitudes * np.cos(turn * down), -amplitudes * np.sin(turn * down)], axis=1)
    right = np.concatenate([np.cos(turn * across), np.sin(turn * across)])
    result: FloatArray = (left @ right).ravel()[:count]
    return result


def _shape(samples: FloatArray, done: int, rows: Rows, first_sample: float, rate: int) -> None:
    """Fade in, decay under the pedal, fade out; in place. `done` samples of the tone come before these."""
    if not done:
        attack = min(len(samples), int(ATTACK_S * rate))
        samples[:attack] *= np.sin(0.5 * np.pi * (np.arange(attack) + 0.5) / attack) ** 2
    if rows["end_s"][-1] - rows["release_s"][0] > FADE_S:
        held, since = _from(samples, done, rows["release_s"][0] * rate - first_sample)
        held *= np.exp(-since / (PEDAL_DECAY_S * rate))
    fading, since = _from(samples, done, rows["end_s"][-1] * rate - first_sample)
    fading *= np.cos(0.5 * np.pi * np.minimum(since / (FADE_S * rate), 1.0)) ** 2


def _from(samples: FloatArray, done: int, place: float) -> tuple[FloatArray, NDArray[np.int64]]:
    """The samples from a place in the tone on, and how far each lies behind it."""
    begin = max(0, int(place))
    skipped = min(max(0, begin - done), len(samples))
    return samples[skipped:], np.arange(done + skipped, done + len(samples)) - begin


def _level(velocity: int) -> float:
    """Amplitude of a velocity: proportional, so that soft inner parts can still be heard to beat (by ear)."""
    return float(velocity) / 127.0


def add_clicks(samples: FloatArray, clicks: Rows, rate: int) -> None:
    """Add a short tick for every percussion stroke, in place."""
    tick = click(rate)
    for time_s, gain in zip(clicks["time_s"], clicks["gain"], strict=True):
        start = int(time_s * rate)
        room = min(len(tick), len(samples) - start)
        if room > 0:
            samples[start : start + room] += CLICK_GAIN * gain * tick[:room]


def click(rate: int) -> FloatArray:
    """Return a dry tick of peak below 1."""
    t = np.arange(int(CLICK_S * rate)) / rate
    result: FloatArray = np.sin(2.0 * np.pi * CLICK_HZ * t) * np.exp(-t / 0.004)
    return result

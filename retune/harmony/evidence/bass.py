"""The bass of each step: the lowest note, how far it can be taken for a bass, how long it is remembered."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.arrays import begins
from retune.harmony.evidence.weights import Weights
from retune.score.model import FloatArray, IntArray

MEMORY_BEATS, MEMORY_LEAP = 3.0, 9
"""So long a bass note is remembered under notes so many semitones above it (experiment)."""
ALONE_GAP, ALONE_COMPANY, ALONE_BEATS = 8, 2, 0.75
"""A low note is a bass of its own, however low the one before, with nothing else within so many semitones above it, so
many notes further up, and if it is held so long (experiment: the feet of arpeggios are shorter)."""


OWN = 0.8  # how far it then is a bass, at least


def lowest_keys(key: IntArray, step: IntArray, share: FloatArray, n: int) -> IntArray:
    """(n,) lowest key that sounds for a fair share of each step, else at all; -1 in silence."""
    lowest = np.full(n, 999, dtype=np.int64)
    carries = share > 0.2
    np.minimum.at(lowest, step[carries], key[carries])
    missing = lowest == 999
    if missing.any():
        rest = missing[step] & (share > 0)
        np.minimum.at(lowest, step[rest], key[rest])
    lowest[lowest == 999] = -1
    return lowest


def weigh_bass(bass: IntArray, at: FloatArray, alone: NDArray[np.bool_], weights: Weights) -> FloatArray:
    """1 where the lowest note is about as low as the lowest within a beat, less the higher it lies.

    Less in a single line: between notes that sound alone, a note alone is as much tune as bass. `at` (n,) is where
    each step starts [beats].
    """
    above = np.maximum(bass - _lowest_near(bass, at, 1, 1), 0)
    result: FloatArray = np.where(bass >= 0, np.exp(-above / weights.bass_register), 0.0)
    around = np.concatenate([[True], alone, [True]])
    result[around[:-2] & alone & around[2:]] *= weights.lone_bass
    return result


def _lowest_near(bass: IntArray, at: FloatArray, back: int, ahead: int) -> IntArray:
    """(n,) lowest bass from `back` beats before each step to `ahead` beats after, beats counted from the start."""
    index = begins(np.floor(at + 1e-6)).cumsum() - 1  # beats in which something starts
    low = np.full(int(index[-1]) + 1 + back + ahead, 999, dtype=np.int64)
    np.minimum.at(low, index + back, np.where(bass >= 0, bass, 999))
    shifts = [low[s : len(low) - back - ahead + s] for s in range(back + ahead + 1)]
    result: IntArray = np.minimum.reduce(shifts)[index]
    return result


def bass_start(bass: IntArray, key: IntArray, first: IntArray) -> IntArray:
    """(n_steps,) step in which the note that is now lowest was last struck."""
    struck = np.zeros(len(bass), dtype=bool)
    struck[first[key == bass[first]]] = True
    result: IntArray = np.maximum.accumulate(np.where(struck, np.arange(len(bass)), 0))
    return result


def find_own_basses(
    bass: IntArray, key: IntArray, first: IntArray, note: IntArray, step: IntArray, held_beats: FloatArray
) -> NDArray[np.bool_]:
    """(n_steps,) where the lowest note is a bass in its own right, however low the one before lay.

    It is held for a while, and chords sound well above it: neither the off-beats of a waltz nor an arpeggio.
    """
    n = len(bass)
    above = np.where(held_beats > 0, key[note] - bass[step], -1)
    near = np.bincount(step, weights=(above > 0) & (above < ALONE_GAP), minlength=n)
    far = np.bincount(step, weights=above >= ALONE_GAP, minlength=n)
    lasts = np.bincount(note, weights=held_beats, minlength=len(key)) >= ALONE_BEATS
    own = np.zeros(n, dtype=bool)
    own[first[lasts & (key == bass[first])]] = True
    own &= (near == 0) & (far >= ALONE_COMPANY)
    start = bass_start(bass, key, first)
    result: NDArray[np.bool_] = own[start] & (bass == bass[start])
    return result


def remember_bass(
    bass: IntArray,
    bass_weight: FloatArray,
    own: NDArray[np.bool_],
    voices: FloatArray,
    at: FloatArray,
    weights: Weights,
) -> None:
    """Let a bass note that has stopped count on, weaker, under what follows it higher up (waltz, arpeggio).

    Changes `bass`, `bass_weight` and `voices` in place. Where a bass is its `own`, no other is remembered.
    """
    bass_weight[own] = np.maximum(bass_weight[own], OWN)
    high = (bass - _lowest_near(bass, at, 2, 0) >= MEMORY_LEAP) & ~own
    last = np.maximum.accumulate(np.where((bass_weight > 0.5) & ~high, np.arange(len(bass)), -1))
    recent = (last >= 0) & (at - at[last] < MEMORY_BEATS) & (bass - bass[last] >= MEMORY_LEAP)
    echoes = np.flatnonzero(recent & ((bass_weight <= 0.5) | high))
    before = bass[last[echoes]]
    bass[echoes] = before
    bass_weight[echoes] = weights.echo
    voices[echoes, before % 12] += weights.echo

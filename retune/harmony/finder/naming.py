"""From a root and what sounds over it to a chord of the vocabulary."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from retune.harmony.evidence.steps import Steps
from retune.harmony.finder.candidates import TYPES
from retune.harmony.vocabulary import AUGMENTED_SIXTHS, CHORD_TYPES, INDEX_OF_SYMBOL
from retune.score.model import FloatArray, IntArray

PRESENT: FloatArray = np.array([0.0, 0.4, 0.4, 0.1, 0.1, 0.45, 0.25, 0.1, 0.3, 0.4, 0.25, 0.3])
"""From this loudness on, against the loudest of the window, an interval above the root is a chord tone
(experiment).

Low for what makes a triad, high for what is mostly passing.
"""
GAIN: FloatArray = np.array([1.0, 1.0, 1.0, 2.0, 2.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0])
"""A third says more than any other tone what the chord is: beside one, a fourth or second is ornament (experiment)."""
HEARD = 0.1  # what the chord type of the decoder is worth against a better literal fit (experiment)
INSTANT_BEATS = 0.1
AUDIBLE = 0.1  # from this loudness on, against the loudest of the window, a tone is there (experiment)
CLEAR = 0.2  # from this loudness on it is no mere ornament (experiment)
NAMED = 0.55  # a chord type must explain this share of the sound, or the set has no name (experiment)

MEMBERS: IntArray = np.array([chord.members for chord in CHORD_TYPES])
TABLE: FloatArray = ((MEMBERS[: -len(AUGMENTED_SIXTHS), None] >> np.arange(12)) & 1).astype(np.float64)
"""(n_types, 12) 1 where the pitch class belongs to the type, of the types that their tones tell: not the last ones."""

_TRIADS = TABLE[[INDEX_OF_SYMBOL["maj"], INDEX_OF_SYMBOL["min"]]] > 0

PARNCUTT: FloatArray = np.array([10.0, 0, 1, 0, 3, 0, 0, 5, 0, 0, 2, 0])
"""Root support of an interval above the root (Parncutt 1988; weights as revised 1993; 2006, EMR 1(4))."""


def root_salience(amount: FloatArray) -> FloatArray:
    """(…, 12) salience of each pitch class as root of the given amounts: Σ amount[p]·w[(p − r) mod 12]."""
    result: FloatArray = amount @ _circulant().T
    return result


@cache
def _circulant() -> FloatArray:
    """(12, 12) root support of each pitch class (columns) for each root."""
    return np.array([np.roll(PARNCUTT, r) for r in range(12)])


def name_windows(
    windows: NDArray[np.void], steps: Steps, first: IntArray, candidate: IntArray, amount: FloatArray
) -> None:
    """Fill root, chord, members and bass of the windows.

    `first` is the step each window starts with, `amount` (n, 12) what sounds in it.
    """
    root = candidate % 12
    windows["bass_pc"] = steps.bass_beats(first).argmax(axis=1)
    # A single pitch class that hardly sounds gives the decoder nothing to go by: it is its own root.
    alone = ((amount > 0).sum(axis=1) == 1) & (np.add.reduceat(steps.beats, first) < INSTANT_BEATS)
    root[alone] = amount[alone].argmax(axis=1)
    _give_way_to_triads(root, amount)
    over = _above(amount, root)
    chord, explained = _best_type(over, TYPES[candidate // 12])
    nameless = explained < NAMED
    if nameless.any():
        salience = root_salience(amount[nameless])
        root[nameless] = salience.argmax(axis=1)
        over = _above(amount, root)
    chord[nameless] = -1
    heard = over > PRESENT * over.max(axis=1, keepdims=True)
    heard[:, 0] = True
    windows["root_pc"] = root
    windows["chord"] = chord
    windows["members"] = np.where(nameless, _sets(heard), MEMBERS[chord])


def _give_way_to_triads(root: IntArray, amount: FloatArray) -> None:
    """Where the root does not sound at all, and what sounds is a triad, its root is taken. Changes `root`."""
    absent = np.flatnonzero(amount[np.arange(len(root)), root] <= 0)
    if not len(absent):
        return
    sounds = amount[absent]
    loud = sounds > CLEAR * sounds.max(axis=1, keepdims=True)
    triad_root = _triad_roots()[_sets(loud)]
    root[absent] = np.where(triad_root >= 0, triad_root, root[absent])


@cache
def _triad_roots() -> IntArray:
    """(4096,) root of each set of pitch classes that is a triad, -1 for the others."""
    roots = np.full(4096, -1, dtype=np.int64)
    for triad in _TRIADS:
        for root in range(12):
            roots[(np.roll(triad, root).astype(np.int64) << np.arange(12)).sum()] = root
    return roots


def merge_alike(windows: NDArray[np.void]) -> NDArray[np.void]:
    """Join neighbours over one root where the chord tones of one include those of the other: C, then C7."""
    leads: list[int] = []  # first window of each run
    fullest: list[int] = []  # the window of the run with most chord tones
    roots, members = windows["root_pc"].tolist(), windows["members"].tolist()
    for k in range(len(windows)):
        if leads and roots[fullest[-1]] == roots[k]:
            both = members[fullest[-1]] | members[k]
            if both == members[k]:
                fullest[-1] = k
            if both in (members[fullest[-1]], members[k]):
                continue
        leads.append(k)
        fullest.append(k)
    merged = windows[leads]
    merged["end_tick"] = np.append(merged["start_tick"][1:], windows["end_tick"][-1:])
    merged["chord"], merged["members"] = windows["chord"][fullest], windows["members"][fullest]
    return merged


def _above(amount: FloatArray, root: IntArray) -> FloatArray:
    """(n, 12) amounts by semitones above each window's root."""
    result: FloatArray = amount[np.arange(len(root))[:, None], (root[:, None] + np.arange(12)) % 12]
    return result


def audible_sets(amount: FloatArray) -> IntArray:
    """(n,) the set of pitch classes that are there in each window: bit p for pitch class p."""
    return _sets(amount > AUDIBLE * amount.max(axis=1, keepdims=True))


def sets_above(sets: IntArray, root: IntArray) -> IntArray:
    """(n,) sets of pitch classes turned, so that bit s is the one s semitones above each `root`."""
    return (sets | sets << 12) >> root & 4095


def _sets(there: NDArray[np.bool_]) -> IntArray:
    result: IntArray = there @ (1 << np.arange(12))
    return result


def _best_type(over: FloatArray, heard: IntArray) -> tuple[IntArray, FloatArray]:
    """(n,) chord type that fits the amounts above the root best, and the share of the sound it explains."""
    loudest = np.maximum(over.max(axis=1, keepdims=True), 1e-12)
    level = np.minimum(over / loudest, 1.0)
    surplus = (level - PRESENT) * GAIN
    fit = surplus @ TABLE.T - np.maximum(surplus, 0) @ (1.0 - TABLE).T
    fit[np.arange(len(fit)), heard] += HEARD
    chord = fit.argmax(axis=1)
    explained = (over * TABLE[chord]).sum(axis=1) / np.maximum(over.sum(axis=1), 1e-12)
    explained[over.sum(axis=1) <= 0] = 1.0
    return chord, explained

"""Suspensions as evidence: a note held against the harmony speaks for the note it resolves to.

Textbook rules (common practice, no source): prepared; dissonant, on a place no weaker than that of its resolution;
resolved by step downwards, into a triad or a dominant seventh, while the bass stays (or, in the bass, while what is
above it stays). A note a tritone from another is taken for the seventh of a chord, a bare fourth for no dissonance.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from retune.arrays import ends
from retune.harmony.evidence.motion import Motion
from retune.harmony.vocabulary import CHORD_TYPES, INDEX_OF_SYMBOL
from retune.score.model import FloatArray, IntArray

SECONDS, TRITONE = (1, 2, 10, 11), (6,)  # semitones above a pitch class; seconds and sevenths alike
RESTS_IN = ("maj", "min", "dim", "7")  # chord types a suspension resolves into


def find_suspensions(
    key: IntArray,
    first: IntArray,
    motion: Motion,
    note: IntArray,
    step: IntArray,
    sounds: FloatArray,
    bass: IntArray,
    strength: IntArray,
) -> IntArray:
    """Rows of `note` and `step` in which a note (row of `key`) is a suspension in a step it sounds in.

    `note` and `step` (n_pairs,) are ascending, by note first. `sounds` (n_steps, 12), `bass` and `strength` (n_steps,)
    are those of the steps.
    """
    last = step[ends(note)]
    falls = ((motion.out == -1) | (motion.out == -2)) & (motion.next_step == last + 1)
    prepared = (step > first[note]) | motion.again[note]
    maybe = np.flatnonzero(falls[note] & prepared)
    n, s = note[maybe], step[maybe]
    after = motion.next_step[n]
    present = (sounds > 0) @ (1 << np.arange(12))
    beside = present[s] & ~(1 << key[n] % 12)
    rests = _rests()[beside | 1 << (key + motion.out)[n] % 12]
    stays = np.where(bass[s] == key[n], beside & ~present[after] == 0, bass[s] == bass[after])
    found = rests & stays & _meets(beside, key[n], SECONDS) & ~_meets(beside, key[n], TRITONE)
    if not found.any():
        return maybe[:0]
    strongest = np.full(len(key), strength.max(initial=0), dtype=np.int64)
    np.minimum.at(strongest, n[found], strength[s[found]])
    result: IntArray = maybe[found & (strongest[n] <= strength[after])]
    return result


def _meets(beside: IntArray, key: IntArray, intervals: tuple[int, ...]) -> NDArray[np.bool_]:
    """(n,) True where a set of pitch classes has one so many semitones above a key."""
    result: NDArray[np.bool_] = np.logical_or.reduce([beside >> (key + i) % 12 & 1 for i in intervals])
    return result


@cache
def _rests() -> NDArray[np.bool_]:
    """(4096,) True for the sets of pitch classes that lie within a chord of `RESTS_IN`."""
    sets = np.arange(4096)
    chords = [CHORD_TYPES[INDEX_OF_SYMBOL[symbol]].members for symbol in RESTS_IN]
    turned = [(chord << r | chord >> 12 - r) & 4095 for chord in chords for r in range(12)]
    result: NDArray[np.bool_] = np.logical_or.reduce([sets & ~chord == 0 for chord in turned])
    return result

"""Best paths through time (dynamic programming): harmony by stretches, keys by sections."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.harmony.candidates import CLASS_OF_CANDIDATE, TYPES_OF_CLASS, evidence_table, motion_table
from retune.harmony.segments import REACH_JUNCTURES, Junctures
from retune.score.model import FloatArray, IntArray

CHUNK = 1024  # junctures whose stretches are judged at a time, to bound memory


def best_stretches(junctures: Junctures) -> tuple[IntArray, IntArray]:
    """(first juncture, candidate) of each stretch of the best division of the piece into chords.

    The best division has the most points: those of each stretch's evidence, plus those of each motion from
    chord to chord, less the cost of each change. All stretches that end at a juncture are weighed against
    the best divisions of what lies before them, so time is linear in the number of junctures.
    """
    m, table = len(junctures), evidence_table()
    motion = motion_table()
    every = np.arange(table.shape[1])
    # Of the best divisions at each juncture, by candidate: points of those after which it may start, points of
    # those that end with it, and the length of its stretch in these.
    points = np.zeros((m + 1, table.shape[1]), dtype=np.float32)
    final = np.zeros((m + 1, table.shape[1]), dtype=np.float32)
    length = np.zeros((m + 1, table.shape[1]), dtype=np.int16)
    cost, reach = junctures.cost.tolist(), junctures.reach.tolist()
    for low in range(0, m, CHUNK):
        high = min(low + CHUNK, m)
        evidence = junctures.features(*junctures.pairs(low, high)) @ table
        points[max(low - REACH_JUNCTURES, 0) : low + 1] -= points[
            low
        ].max()  # only differences count; keeps 32 bits exact enough
        done = 0
        for j in range(low + 1, high + 1):
            count = reach[j - 1]
            options = points[j - count : j] + evidence[done : done + count]
            done += count
            best = options.argmax(axis=0)
            final[j] = options[best, every]
            length[j] = count - best
            if j < m:
                moved = (motion + final[j, TYPES_OF_CLASS].max(axis=0)[:, None]).max(axis=0)
                points[j] = moved[CLASS_OF_CANDIDATE] - cost[j]
    return _trace(final, length)


def _trace(final: NDArray[np.float32], length: NDArray[np.int16]) -> tuple[IntArray, IntArray]:
    """The best division, read backwards from its end."""
    motion = motion_table()
    j, candidate = len(final) - 1, int(final[-1].argmax())
    starts, heard = [], []
    while True:
        j -= int(length[j, candidate])
        starts.append(j)
        heard.append(candidate)
        if j == 0:
            return np.array(starts[::-1]), np.array(heard[::-1])
        types = final[j, TYPES_OF_CLASS]
        before = int((motion[:, CLASS_OF_CANDIDATE[candidate]] + types.max(axis=0)).argmax())
        candidate = int(TYPES_OF_CLASS[types[:, before].argmax(), before])


def best_path(fit: FloatArray, change: FloatArray) -> IntArray:
    """(n,) candidate of each step: the greatest summed fit, less `change[t]` where step t changes.

    All changes at one step cost the same, so a step needs only the best of the path so far: O(candidates).
    """
    n, candidates = fit.shape
    if not n:
        return np.zeros(0, dtype=np.int64)
    moved = np.zeros((n, candidates), dtype=bool)
    leader = np.zeros(n, dtype=np.int64)
    value = fit[0].copy()
    for t in range(1, n):
        best = value.argmax()
        leader[t] = best
        fresh = value[best] - change[t]
        np.less(value, fresh, out=moved[t])
        np.maximum(value, fresh, out=value)
        value += fit[t]
    path = np.empty(n, dtype=np.int64)
    at = int(value.argmax())
    for t in range(n - 1, -1, -1):
        path[t] = at
        if moved[t, at]:
            at = int(leader[t])
    return path

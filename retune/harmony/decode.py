"""Best paths through time (dynamic programming): harmony by stretches, keys by sections."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.harmony.candidates import CLASS_OF_TYPE, FIRSTS, SIZES, evidence_table, motion_table
from retune.harmony.segments import Junctures
from retune.score.model import FloatArray, IntArray

CHUNK = 1024  # junctures whose stretches are judged at a time, to bound memory


def best_stretches(junctures: Junctures) -> tuple[IntArray, IntArray]:
    """(first juncture, candidate) of each stretch of the best division of the piece into chords.

    The best division has the most points: those of each stretch's evidence, plus those of each motion from
    chord to chord, less the cost of each change. All stretches that end at a juncture are weighed against
    the best divisions of what lies before them, so time is linear in the number of junctures.
    """
    m, table = len(junctures), evidence_table().astype(np.float32)
    # Of the best divisions at each juncture, by candidate: points of those after which it may start, points of
    # those that end with it, and the length of its stretch in these.
    points = np.zeros((m + 1, table.shape[1]))
    final = np.zeros((m + 1, table.shape[1]))
    length = np.zeros((m + 1, table.shape[1]), dtype=np.int16)
    motion = motion_table()
    every = np.arange(table.shape[1])
    for low in range(0, m, CHUNK):
        high = min(low + CHUNK, m)
        start, end = junctures.pairs(low, high)
        evidence = junctures.features(start, end).astype(np.float32) @ table
        done = 0
        for j in range(low + 1, high + 1):
            count = int(junctures.reach[j - 1])
            options = points[j - count : j] + evidence[done : done + count]
            done += count
            best = options.argmax(axis=0)
            final[j] = options[best, every]
            length[j] = count - best
            if j < m:
                points[j] = _spread((motion + _by_class(final[j])).max(axis=1)) - junctures.cost[j]
    return _trace(final, length)


def _trace(final: FloatArray, length: NDArray[np.int16]) -> tuple[IntArray, IntArray]:
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
        kind, root = divmod(candidate, 12)
        before = int((motion[12 * CLASS_OF_TYPE[kind] + root] + _by_class(final[j])).argmax())
        kind, root = divmod(before, 12)
        types = np.arange(FIRSTS[kind], FIRSTS[kind] + SIZES[kind]) * 12 + root
        candidate = int(types[final[j, types].argmax()])


def _by_class(values: FloatArray) -> FloatArray:
    """(12·classes,) best of each class and root, from (12·types,)."""
    result: FloatArray = np.maximum.reduceat(values.reshape(-1, 12), FIRSTS, axis=0).ravel()
    return result


def _spread(values: FloatArray) -> FloatArray:
    """(12·types,) each type and root with the value of its class."""
    result: FloatArray = np.repeat(values.reshape(-1, 12), SIZES, axis=0).ravel()
    return result


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

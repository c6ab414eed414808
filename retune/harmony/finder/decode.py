"""Best paths through time (dynamic programming): harmony by stretches, keys by sections."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.harmony.finder.candidates import LAYERS, OF_CLASS, evidence_table, motion_table
from retune.harmony.finder.segments import REACH_JUNCTURES, Junctures
from retune.score.model import FloatArray, IntArray

CHUNK = 128  # junctures whose stretches are judged at a time: what they need stays in the processor's cache


def best_stretches(junctures: Junctures) -> tuple[IntArray, IntArray]:
    """(first juncture, candidate) of each stretch of the best division of the piece into chords.

    The best division has the most points: those of each stretch's evidence, plus those of each motion from
    chord to chord, less the cost of each change. All stretches that end at a juncture are weighed against
    the best divisions of what lies before them, so time is linear in the number of junctures.

    Types of one class are reached alike, so the path leads through classes, each with the points of its best type.
    """
    m, n = len(junctures), LAYERS[0]
    every, motion = np.arange(n), motion_table()
    # Of the best divisions at each juncture, by class and root: points of those after which it may start, points of
    # those that end with it, and which stretch that is, counted from the longest that ends here.
    points = np.zeros((m + 1, n), dtype=np.float32)
    final = np.zeros((m + 1, n), dtype=np.float32)
    nth = np.zeros((m + 1, n), dtype=np.int8)
    cost = junctures.cost.astype(np.float32).tolist()
    for low in range(0, m, CHUNK):
        high = min(low + CHUNK, m)
        evidence = _class_evidence(junctures, low, high)
        # Only differences count; small numbers keep 32 bits exact enough.
        points[max(low - REACH_JUNCTURES, 0) : low + 1] -= points[low].max()
        done = 0
        for j, reach in enumerate(junctures.reach[low:high].tolist(), start=low + 1):
            options = points[j - reach : j] + evidence[done : done + reach]
            done += reach
            nth[j] = best = options.argmax(axis=0)
            final[j] = found = options[best, every]
            if j < m:
                by_root = np.maximum.reduce(found.reshape(-1, 12))
                np.subtract(np.maximum.reduce(motion + by_root[:, None]), cost[j], out=points[j])
    starts, ends, classes = _trace(final, nth, junctures.reach)
    return starts, _best_types(junctures, starts, ends, classes)


def _class_evidence(junctures: Junctures, low: int, high: int) -> NDArray[np.float32]:
    """(pairs, n) evidence of the best type of each class and root for `junctures.pairs(low, high)`."""
    evidence: NDArray[np.float32] = junctures.features(*junctures.pairs(low, high)) @ evidence_table()
    best, start = evidence[:, : LAYERS[0]], LAYERS[0]
    for size in LAYERS[1:]:
        np.maximum(best[:, :size], evidence[:, start : start + size], out=best[:, :size])
        start += size
    return best


def _trace(
    final: NDArray[np.float32], nth: NDArray[np.int8], reach: IntArray
) -> tuple[IntArray, IntArray, IntArray]:
    """(first juncture, end, class and root) of each stretch of the best division, read backwards from its end."""
    motion = motion_table()
    j, heard = len(final) - 1, int(final[-1].argmax())
    path = []
    while True:
        start = j - int(reach[j - 1]) + int(nth[j, heard])
        path.append((start, j, heard))
        if start == 0:
            starts, ends, classes = np.array(path[::-1]).T
            return starts, ends, classes
        before = final[start].reshape(-1, 12) + motion[:, heard]
        j, heard = start, int(before.argmax())


def _best_types(junctures: Junctures, starts: IntArray, ends: IntArray, classes: IntArray) -> IntArray:
    """(n,) candidate of each stretch: the type of its class for which most speaks."""
    evidence = junctures.features(starts, ends) @ evidence_table()
    every, candidates = np.arange(len(starts)), OF_CLASS[classes]
    points = evidence[every[:, None], candidates]
    result: IntArray = candidates[every, points.argmax(axis=1)]
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

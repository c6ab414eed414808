"""Best paths through time (dynamic programming): harmony by stretches, keys by sections."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.harmony.candidates import TYPES_OF_CLASS, evidence_table, motion_table, tables_of_classes
from retune.harmony.segments import REACH_JUNCTURES, Junctures
from retune.score.model import FloatArray, IntArray

CHUNK = 128  # junctures whose stretches are judged at a time: what they need stays in the processor's cache


def best_stretches(junctures: Junctures) -> tuple[IntArray, IntArray]:
    """(first juncture, candidate) of each stretch of the best division of the piece into chords.

    The best division has the most points: those of each stretch's evidence, plus those of each motion from
    chord to chord, less the cost of each change. All stretches that end at a juncture are weighed against
    the best divisions of what lies before them, so time is linear in the number of junctures.

    Types of one class move alike, so the path leads through classes, each with the points of its best type.
    """
    m, n = len(junctures), TYPES_OF_CLASS.shape[1]
    every = np.arange(n)
    # Of the best divisions at each juncture, by class and root: points of those after which it may start, points of
    # those that end with it, and which stretch that is, counted from the longest that ends here.
    points = np.zeros((m + 1, n), dtype=np.float32)
    final = np.zeros((m + 1, n), dtype=np.float32)
    nth = np.zeros((m + 1, n), dtype=np.int8)
    cost, reach = junctures.cost.astype(np.float32), junctures.reach.tolist()
    for low in range(0, m, CHUNK):
        high = min(low + CHUNK, m)
        evidence = _class_evidence(junctures, low, high)
        # Only differences count; small numbers keep 32 bits exact enough.
        points[max(low - REACH_JUNCTURES, 0) : low + 1] -= points[low].max()
        done = 0
        for j in range(low + 1, high + 1):
            options = points[j - reach[j - 1] : j] + evidence[done : done + reach[j - 1]]
            done += reach[j - 1]
            nth[j] = best = options.argmax(axis=0)
            final[j] = options[best, every]
            if j < m:
                _move(final[j], cost[j], out=points[j])
    starts, ends, classes = _trace(final, nth, junctures.reach)
    return starts, _best_types(junctures, starts, ends, classes)


def _class_evidence(junctures: Junctures, low: int, high: int) -> NDArray[np.float32]:
    """(pairs, n) evidence of the best type of each class and root for `junctures.pairs(low, high)`."""
    features = junctures.features(*junctures.pairs(low, high))
    first, *others = tables_of_classes()
    best: NDArray[np.float32] = features @ first
    for table in others:
        np.maximum(best, features @ table, out=best)
    return best


def _move(final: NDArray[np.float32], cost: np.float32, *, out: NDArray[np.float32]) -> None:
    """Points of the best way from any class to each class, less the cost of the change.

    Motions differ by so little that only classes nearly as good as the best one can lead anywhere.
    """
    motion, spread = motion_table()
    leading = (final >= final[final.argmax()] - spread).nonzero()[0].tolist()
    np.add(motion[leading[0]], final[leading[0]], out=out)
    for source in leading[1:]:
        np.maximum(out, motion[source] + final[source], out=out)
    out -= cost


def _trace(
    final: NDArray[np.float32], nth: NDArray[np.int8], reach: IntArray
) -> tuple[IntArray, IntArray, IntArray]:
    """(first juncture, end, class and root) of each stretch of the best division, read backwards from its end."""
    motion, _ = motion_table()
    j, heard = len(final) - 1, int(final[-1].argmax())
    path = []
    while True:
        start = j - int(reach[j - 1]) + int(nth[j, heard])
        path.append((start, j, heard))
        if start == 0:
            starts, ends, classes = np.array(path[::-1]).T
            return starts, ends, classes
        j, heard = start, int((motion[:, heard] + final[start]).argmax())


def _best_types(junctures: Junctures, starts: IntArray, ends: IntArray, classes: IntArray) -> IntArray:
    """(n,) candidate of each stretch: the type of its class for which most speaks."""
    evidence = junctures.features(starts, ends) @ evidence_table()
    types = TYPES_OF_CLASS[:, classes].T
    best = np.take_along_axis(evidence, types, axis=1).argmax(axis=1)
    result: IntArray = types[np.arange(len(types)), best]
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

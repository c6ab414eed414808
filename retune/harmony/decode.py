"""The best path of candidates through time (Viterbi), with a cost for every change of chord."""

from __future__ import annotations

import numpy as np

from retune.score.model import FloatArray, IntArray


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

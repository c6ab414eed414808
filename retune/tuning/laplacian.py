"""The sparse symmetric matrix of the interior-point steps: pattern fixed once, values changed every step."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from retune.arrays import numbered
from retune.tuning.sparse import UpperTriangle

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Laplacian:
    """Σ_rows weight · (e_first − e_second)(e_first − e_second)ᵀ + diag(extra), factored as L·D·Lᵀ.

    `second` is shorter than `first` where the last rows have none: those add their weight to the diagonal alone.
    The pattern (upper triangle, compressed columns) and the fill-reducing ordering are worked out once; `factor`
    refills the values.
    """

    def __init__(self, size: int, first: Ints, second: Ints) -> None:
        self.size = size
        self._linking = len(second)
        low = np.minimum(first[: len(second)], second)
        high = np.maximum(first[: len(second)], second)
        # Column-major place of each off-diagonal entry; equal places are summed.
        places, entry = numbered(high * size + low)
        diagonal = np.arange(size, dtype=np.int64) * (size + 1)
        # Entries of a column lie above its diagonal, which therefore follows them.
        self._diagonal_at = np.searchsorted(places, diagonal) + np.arange(size)
        columns, rows = np.divmod(places, size)
        off_at = np.arange(len(places)) + columns
        indices = np.empty(len(places) + size, dtype=np.int64)
        indices[off_at], indices[self._diagonal_at] = rows, np.arange(size)
        # What each row adds to: the diagonal at both its ends, and the entry that links them.
        self._at = np.concatenate([self._diagonal_at[first], self._diagonal_at[second], off_at[entry]])
        starts = np.concatenate([[0], self._diagonal_at + 1])
        self._matrix = UpperTriangle(np.ones(len(indices)), indices, starts)
        self._solver: Any = None

    def factor(self, weight: Floats, extra: Floats) -> None:
        """Sets the values: `weight` per row (n_rows,), `extra` on the diagonal (size,), and factors."""
        import qdldl

        linking = weight[: self._linking]
        parts = np.concatenate([weight, linking, -linking])
        data: Floats = np.asarray(np.bincount(self._at, parts, self._matrix.nnz), dtype=np.float64)
        # A touch more on the diagonal keeps the factorisation stable when weights span many decades.
        data[self._diagonal_at] = (data[self._diagonal_at] + extra) * (1.0 + 1e-14) + 1e-12
        self._matrix.data = data
        if self._solver is None:
            self._solver = qdldl.Solver(self._matrix, upper=True)
        else:
            self._solver.update(self._matrix, upper=True)

    def solve(self, right: Floats) -> Floats:
        """Solution of the factored system for one right-hand side (size,)."""
        result: Floats = np.asarray(self._solver.solve(right))
        return result

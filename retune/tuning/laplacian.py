"""The sparse symmetric matrix of the interior-point steps: pattern fixed once, values changed every step."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from retune.tuning.sparse import csc_matrix

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Laplacian:
    """Σ_rows weight · (e_first − e_second)(e_first − e_second)ᵀ + diag(extra), factored as L·D·Lᵀ.

    A row with second = -1 adds its weight to the diagonal alone. The pattern (upper triangle, compressed
    columns) and the fill-reducing ordering are worked out once; `factor` refills the values.
    """

    def __init__(self, size: int, first: Ints, second: Ints) -> None:
        self.size = size
        self._first, self._second = first, second
        linked = second >= 0
        low = np.minimum(first, second)[linked]
        high = np.maximum(first, second)[linked]
        # Column-major place of each off-diagonal entry; equal places are summed.
        places, self._entry = np.unique(high * size + low, return_inverse=True)
        diagonal = np.arange(size, dtype=np.int64) * (size + 1)
        order = np.argsort(np.concatenate([places, diagonal]), kind="stable")
        where = np.empty_like(order)
        where[order] = np.arange(len(order))
        self._off_at, self._diagonal_at = where[: len(places)], where[len(places) :]
        columns, rows = np.divmod(np.concatenate([places, diagonal])[order], size)
        starts = np.searchsorted(columns, np.arange(size + 1))
        self._linked = linked
        self._matrix = csc_matrix((np.ones(len(order)), rows, starts), shape=(size, size))
        self._solver: Any = None

    def factor(self, weight: Floats, extra: Floats) -> None:
        """Sets the values: `weight` per row (n_rows,), `extra` on the diagonal (size,), and factors."""
        import qdldl

        linked = self._linked
        diagonal = extra + np.bincount(self._first, weight, self.size)
        diagonal += np.bincount(self._second[linked], weight[linked], self.size)
        data = self._matrix.data
        data[self._off_at] = -np.bincount(self._entry, weight[linked], len(self._off_at))
        # A touch more on the diagonal keeps the factorisation stable when weights span many decades.
        data[self._diagonal_at] = diagonal * (1.0 + 1e-14) + 1e-12
        if self._solver is None:
            self._solver = qdldl.Solver(self._matrix, upper=True)
        else:
            self._solver.update(self._matrix, upper=True)

    def solve(self, right: Floats) -> Floats:
        """Solution of the factored system for one right-hand side (size,)."""
        result: Floats = np.asarray(self._solver.solve(right))
        return result

"""Exact ratios of each window.

Ratios are kept as integer pairs so that a conversion need not import sympy; `RatioTable.rationals` gives
them as `sympy.Rational`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from retune.units import ratio_to_cents

if TYPE_CHECKING:
    import sympy
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class RatioTable:
    """Ratios of all twelve pitch classes above a root, octave-reduced to 1 <= ratio < 2, in lowest terms.

    `pairs[s]` = (numerator, denominator) of the pitch class s semitones above the root; pairs[0] = (1, 1).
    """

    pairs: tuple[tuple[int, int], ...]

    @property
    def rationals(self) -> tuple[sympy.Rational, ...]:
        """Twelve ratios as `sympy.Rational`."""
        import sympy

        return tuple(sympy.Rational(n, d) for n, d in self.pairs)

    @property
    def deviations(self) -> NDArray[np.float64]:
        """(12,) cents each pitch class lies from its equal-tempered place above the root (read-only)."""
        return _deviations(self.pairs)


@lru_cache(maxsize=4096)
def _deviations(pairs: tuple[tuple[int, int], ...]) -> NDArray[np.float64]:
    cents = np.array([ratio_to_cents(n, d) - 100.0 * s for s, (n, d) in enumerate(pairs)])
    cents.flags.writeable = False
    return cents


@dataclass(frozen=True, slots=True, kw_only=True)
class Ratios:
    """Which table each window uses."""

    tables: tuple[RatioTable, ...]
    table_of_window: NDArray[np.int64]  # (n_windows,) index into tables
    insisted: NDArray[np.bool_] | None = None  # (n_windows,) True where the user gave them; None: nowhere

    @property
    def deviations(self) -> NDArray[np.float64]:
        """(n_windows, 12) cents from equal temperament above each window's root."""
        if not len(self.table_of_window):
            return np.zeros((0, 12))
        return np.array([table.deviations for table in self.tables])[self.table_of_window]

"""What a comparison finds: one piece of music under many tunings, in figures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from retune.check.measures.figures import Figures

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

SHOWN_FROM_CENTS = 0.05  # what is less prints as 0.0
JSON_FORMAT = 1  # raised with each change of structure


@dataclass(frozen=True, slots=True, kw_only=True)
class BarFigure:
    """A bar and how far from pure its consonant pairs are on average."""

    bar: int
    mean_deviation_cents: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TuningFigures:
    """One tuning of the piece, measured."""

    name: str  # "equal", "vallotti on D", "table-per-chord", "balanced"
    kind: str  # "fixed": twelve pitches; "table": a table per chord; "solved": the whole piece at once
    figures: Figures
    beats_per_second: float | None  # consonant pairs, duration-weighted mean
    roughness: float | None  # all pairs, duration-weighted mean, Vassilakis' scale (see `compare.sound`)
    bars: Ints  # (n_bars,) numbers of the bars in which a consonant pair sounds
    bar_deviation_cents: Floats  # (n_bars,)
    displacement_cents: Floats  # (n_windows,) nan where no chord tone sounds

    def worst_bars(self, count: int = 3) -> tuple[BarFigure, ...]:
        """The bars whose consonant pairs are furthest from pure, the worst first; pure ones are left out."""
        worst = np.lexsort((self.bars, -self.bar_deviation_cents))[:count]
        return tuple(
            BarFigure(bar=int(self.bars[i]), mean_deviation_cents=float(self.bar_deviation_cents[i]))
            for i in worst
            if self.bar_deviation_cents[i] >= SHOWN_FROM_CENTS
        )

    def as_json(self) -> dict[str, Any]:
        """Name, kind, all figures, and the bars where this tuning does worst."""
        return {
            "name": self.name,
            "kind": self.kind,
            **self.figures.as_dict(),
            "beats_per_second": self.beats_per_second,
            "roughness": self.roughness,
            "worst_bars": [
                {"bar": bar.bar, "mean_deviation_cents": bar.mean_deviation_cents}
                for bar in self.worst_bars()
            ],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One piece under many tunings, in the order they are best read."""

    title: str
    tunings: tuple[TuningFigures, ...]
    window_edges_bars: (
        Floats  # (n_windows + 1,) starts of the windows and the end of the last; 3.5: half of bar 3
    )

    def as_json(self) -> dict[str, Any]:
        """Everything as JSON-able values; None where the music has nothing to measure."""
        return {
            "format": JSON_FORMAT,
            "title": self.title,
            "tunings": [tuning.as_json() for tuning in self.tunings],
        }

"""Drift curve: where the root of each window sits over time."""

from __future__ import annotations

from math import isinf
from typing import TYPE_CHECKING

import numpy as np

from retune.plots.style import AFTER, QUIET, bar_axis

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from retune.harmony.model import Harmony
    from retune.options import Options
    from retune.score.model import Score
    from retune.tuning.model import Tuning


def picture(
    score: Score,
    harmony: Harmony,
    tuning: Tuning,
    options: Options,
    start_tick: int,
    end_tick: int,
    title: str,
) -> Figure:
    """Draw the displacement of every window from `start_tick` to `end_tick`."""
    from matplotlib.figure import Figure

    windows = harmony.windows
    inside = (windows["start_tick"] < end_tick) & (windows["end_tick"] > start_tick)
    windows, cents = windows[inside], tuning.displacement_cents[inside]
    figure = Figure(figsize=(11.0, 3.6), layout="constrained")
    axes = figure.add_subplot()
    edges = score.clock.quarters(np.append(windows["start_tick"], windows["end_tick"][-1:]))
    axes.axhline(0.0, color=QUIET, linewidth=0.8)
    axes.stairs(cents, edges, baseline=None, color=AFTER, linewidth=1.8, label="root of the chord")
    if not isinf(options.drift_limit_cents):
        for side in (-1.0, 1.0):
            axes.axhline(
                side * options.drift_limit_cents,
                color=QUIET,
                linewidth=1.0,
                linestyle="--",
                label="drift limit" if side > 0 else None,
            )
    bar_axis(axes, score, start_tick, end_tick)
    axes.margins(y=0.12)
    axes.set_ylabel("displacement [cents]")
    axes.legend(
        loc="lower right", bbox_to_anchor=(1.0, 1.0), frameon=False, ncols=2
    )  # above: lines touch the limit
    axes.set_title(title, loc="left")
    return figure

"""A comparison as a picture: deviation and displacement, bar by bar."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from retune.plots.style import saved, settings
from retune.wording import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from retune.compare.model import Comparison, TuningFigures

_SIZE_INCHES = (10.0, 7.0)
_STYLE = {"fixed": (0, (1, 1.5)), "table": (0, (5, 2)), "solved": "-"}
_WIDTH = {"fixed": 1.4, "table": 1.2, "solved": 1.8}
_COLOURS = ("#000000", "#E69F00", "#56B4E9", "#CC79A7", "#777777", "#009E73", "#D55E00", "#0072B2")
"""Told apart by people with colour blindness too: M. Okabe and K. Ito, *Color Universal Design*, 2002 (from memory),
with grey for the table per chord instead of yellow."""


def plot(comparison: Comparison, form: str = "svg") -> bytes:
    """Draw a comparison; the bytes of a file of a form of `retune.plots.FORMATS`, the same for the same comparison.

    Raises `OptionError` for another form, and if matplotlib, an extra of the package, is not installed.
    """
    with settings(form):
        return saved(picture(comparison), form)


def picture(comparison: Comparison) -> Figure:
    """Draw a comparison: above the deviation of each bar, below the displacement of the roots."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=_SIZE_INCHES, layout="constrained")
    upper, lower = figure.subplots(2, 1, sharex=True)
    _deviation_per_bar(upper, comparison)
    _displacement_of_roots(lower, comparison)
    figure.legend(*upper.get_legend_handles_labels(), loc="outside upper center", ncols=4)
    return figure


def _look(number: int, tuning: TuningFigures) -> dict[str, Any]:
    """Line and colour of a tuning, the same in both panels."""
    kind = tuning.kind
    return {
        "color": _COLOURS[number % len(_COLOURS)],
        "linestyle": _STYLE[kind],
        "linewidth": _WIDTH[kind],
        "baseline": None,
    }


def _deviation_per_bar(axes: Axes, comparison: Comparison) -> None:
    """A step for each bar; none where no consonance sounds."""
    for number, tuning in enumerate(comparison.tunings):
        if not len(tuning.bars):
            continue
        edges = np.unique(np.concatenate((tuning.bars, tuning.bars + 1)))
        deviation = np.full(len(edges) - 1, np.nan)
        deviation[np.searchsorted(edges, tuning.bars)] = tuning.bar_deviation_cents
        axes.stairs(deviation, edges, label=tuning.name, **_look(number, tuning))
    axes.set(ylabel="mean deviation from pure [cents]", title=plain(comparison.title))
    axes.set_ylim(bottom=0.0)


def _displacement_of_roots(axes: Axes, comparison: Comparison) -> None:
    """Only of tunings that move: the roots of a fixed one sit wherever its twelve pitches are."""
    from matplotlib.ticker import MaxNLocator

    edges = comparison.window_edges_bars
    for number, tuning in enumerate(comparison.tunings):
        if tuning.kind != "fixed":
            axes.stairs(tuning.displacement_cents, edges, **_look(number, tuning))
    axes.axhline(0.0, color="0.8", linewidth=0.8, zorder=0)
    axes.set(xlabel="bar", ylabel="displacement of the roots [cents]")
    if len(edges) > 1:
        axes.set_xlim(edges[0], edges[-1])
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))

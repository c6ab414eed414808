"""Piano roll: every note where it sounds, coloured by its offset."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.plots.style import bar_axis, colours, symmetric_limit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from retune.score.model import Score
    from retune.tuning.model import Tuning

NUMBERED_NOTES = 130  # up to so many notes each carries its cents as a number
NUMBER_ROOM = 0.022  # share of the width a note needs to hold its number
_NAMED_KEYS = tuple(range(0, 128, 12))


def picture(
    score: Score, tuning: Tuning, reference_hz: float, start_tick: int, end_tick: int, title: str
) -> Figure:
    """Draw the notes from `start_tick` to `end_tick`."""
    from matplotlib.collections import PolyCollection
    from matplotlib.figure import Figure

    rows = tuning.counted_from(reference_hz).offsets
    rows = rows[(rows["start_tick"] < end_tick) & (rows["end_tick"] > start_tick)]
    cents = rows["offset_cents"]
    left, right = (
        score.clock.quarters(np.clip(rows[name], start_tick, end_tick)) for name in ("start_tick", "end_tick")
    )
    keys = score.notes["key"][rows["note"]].astype(np.float64)
    figure = Figure(figsize=(11.0, 5.5), layout="constrained")
    axes = figure.add_subplot()
    limit = symmetric_limit(cents)
    notes = PolyCollection(
        list(_boxes(left, right, keys)), array=cents, cmap=colours(), edgecolors="#333333", linewidths=0.4
    )
    notes.set_clim(-limit, limit)
    axes.add_collection(notes)
    axes.set_ylim(keys.min() - 1.5, keys.max() + 1.5)
    axes.set_yticks([key for key in _NAMED_KEYS if keys.min() - 1 <= key <= keys.max() + 1])
    axes.set_yticklabels([f"C{int(key) // 12 - 1}" for key in axes.get_yticks()])
    for key in axes.get_yticks():
        axes.axhline(float(key) - 0.5, color="#cccccc", linewidth=0.6, zorder=0)
    bar_axis(axes, score, start_tick, end_tick)
    if len(rows) <= NUMBERED_NOTES:
        _number(axes, left, right, keys, cents, limit)
    bar = figure.colorbar(notes, ax=axes, pad=0.01, extend="both")
    bar.set_label("cents from equal temperament")
    axes.set_title(title, loc="left")
    return figure


def _boxes(
    left: NDArray[np.float64], right: NDArray[np.float64], keys: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return corners of the notes, (n, 4, 2)."""
    low, high = keys - 0.42, keys + 0.42
    corners = [(left, low), (right, low), (right, high), (left, high)]
    return np.stack([np.stack(corner, axis=1) for corner in corners], axis=1)


def _number(
    axes: Axes,
    left: NDArray[np.float64],
    right: NDArray[np.float64],
    keys: NDArray[np.float64],
    cents: NDArray[np.float64],
    limit: float,
) -> None:
    """Write whole cents into the notes."""
    room = (right - left) / max(float(right.max() - left.min()), 1e-9)
    for x, y, value, share in zip((left + right) / 2, keys, cents, room, strict=True):
        if share > NUMBER_ROOM:
            colour = "white" if abs(value) > 0.55 * limit else "black"
            words = f"{value:+.0f}".replace("-", "−")
            axes.text(x, y, words, ha="center", va="center", fontsize=7, color=colour)

"""What all pictures share: colours, the bar axis, safe text, saving without dates."""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from retune.colours import LOW_TO_HIGH
from retune.errors import OptionError

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from retune.score.model import Score

FORMATS = ("svg", "png", "pdf")
MOST_NUMBERED_BARS = 20  # more would run into each other
_DOTS_PER_INCH = 150
_BAR_STEPS = tuple(2**power for power in range(32))  # numbers at 1, 5, 9 …: where phrases of four bars begin

BEFORE, AFTER, QUIET = "#444444", "#14685b", "#777777"  # neither of the hues of lower and higher
_SETTINGS: Any = {
    "svg.hashsalt": "retune",
    "svg.fonttype": "path",
    "text.parse_math": False,  # a dollar sign in a part's name is a dollar sign
    "font.family": "DejaVu Sans",
    "font.size": 10.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": False,
}


def settings(form: str = "svg") -> Any:
    """Return a context in which pictures are drawn and saved.

    Raises `OptionError` for a form that is not one of `FORMATS`, and without matplotlib.
    """
    if form not in FORMATS:
        raise OptionError(f"form: {form!r} is not one of {', '.join(FORMATS)}")
    try:
        import matplotlib
    except ImportError as error:
        raise OptionError("pictures need matplotlib: pip install 'retune[plots]'") from error
    return matplotlib.rc_context(_SETTINGS)


def colours() -> Any:
    """Return the colour scale of offsets."""
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list("retune", LOW_TO_HIGH)


def symmetric_limit(cents: NDArray[np.float64]) -> float:
    """Return the end of a scale around zero that holds nearly all values [cents], at least 5."""
    return float(max(5.0, np.ceil(np.quantile(np.abs(cents), 0.99)))) if len(cents) else 5.0


def bar_axis(axes: Axes, score: Score, start_tick: int, end_tick: int) -> None:
    """Number the bars along the horizontal axis, which is in quarters."""
    meters = score.meters
    first, last = (
        int(bar) for bar in meters.bar_beat(np.array([start_tick, max(end_tick - 1, start_tick)]))[0]
    )
    step = next(step for step in _BAR_STEPS if (last - first + 1) / step <= MOST_NUMBERED_BARS)
    bars = [bar for bar in range(first, last + 2) if (bar - 1) % step == 0] or [first]
    ticks = np.array([meters.tick_of(bar) for bar in bars])
    axes.set_xticks(score.clock.quarters(ticks), [str(bar) for bar in bars])
    axes.set_xlim(*score.clock.quarters(np.array([start_tick, end_tick])))
    axes.set_xlabel("bar")


def saved(figure: Figure, form: str) -> bytes:
    """Return a picture as bytes of a form of `FORMATS`; the same picture gives the same bytes."""
    nothing = {"svg": {"Date": None}, "png": {"Software": None}, "pdf": {"CreationDate": None}}[form]
    buffer = io.BytesIO()
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")  # a name in a script the font lacks shows as boxes
        figure.savefig(buffer, format=form, dpi=_DOTS_PER_INCH, metadata=nothing)
    return buffer.getvalue()

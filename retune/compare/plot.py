"""A comparison as a picture: deviation of each bar, and displacement over time."""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING, Any

from retune.errors import OptionError
from retune.wording import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from retune.compare.model import Comparison, TuningFigures

PLOT_KINDS = ("svg", "png")
_SIZE_INCHES = (10.0, 7.0)
_PNG_DOTS_PER_INCH = 150
_STYLE = {"fixed": (0, (1, 1.5)), "table": (0, (5, 2)), "solved": "-"}
_STABLE: Any = {"svg.hashsalt": "retune", "svg.fonttype": "none", "font.size": 9.0, "text.parse_math": False}


def plot_kind(path: str) -> str:
    """The kind of picture a file name asks for by its ending. Raises `OptionError` for any other ending."""
    kind = path.rpartition(".")[2].lower()
    if kind not in PLOT_KINDS:
        raise OptionError(f"plot {path}: the name must end in .svg or .png")
    return kind


def plot(comparison: Comparison, kind: str = "svg") -> bytes:
    """Draw a comparison; the bytes of an SVG or PNG file, the same for the same comparison.

    Raises `OptionError` if matplotlib, an extra of the package, is not installed.
    """
    try:
        import matplotlib as mpl
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError:
        raise OptionError("plot: needs matplotlib; install it with pip install 'retune[plots]'") from None
    with mpl.rc_context(_STABLE):
        figure = Figure(figsize=_SIZE_INCHES, layout="constrained")
        FigureCanvasAgg(figure)
        upper, lower = figure.subplots(2, 1)
        _deviation_per_bar(upper, comparison)
        _displacement_over_time(lower, comparison)
        figure.legend(*upper.get_legend_handles_labels(), loc="outside upper center", ncols=4)
        file = io.BytesIO()
        metadata = {"Date": None} if kind == "svg" else {"Software": None}
        with warnings.catch_warnings():
            # A title in a script the font lacks is drawn as boxes; that is no reason to speak up.
            warnings.filterwarnings("ignore", message="Glyph .* missing")
            figure.savefig(file, format=kind, dpi=_PNG_DOTS_PER_INCH, metadata=metadata)
    return file.getvalue()


def _look(number: int, tuning: TuningFigures) -> dict[str, Any]:
    """Line and colour of a tuning, the same in both panels."""
    return {"color": f"C{number}", "linestyle": _STYLE[tuning.kind], "linewidth": 1.2}


def _deviation_per_bar(axes: Axes, comparison: Comparison) -> None:
    for number, tuning in enumerate(comparison.tunings):
        look = _look(number, tuning)
        axes.plot(tuning.bars, tuning.bar_deviation_cents, label=tuning.name, **look)
    axes.set(xlabel="bar", ylabel="mean deviation from pure [cents]", title=plain(comparison.title))
    axes.set_ylim(bottom=0.0)


def _displacement_over_time(axes: Axes, comparison: Comparison) -> None:
    """Only of tunings that move: the roots of a fixed one sit wherever its twelve pitches are."""
    for number, tuning in enumerate(comparison.tunings):
        if tuning.kind != "fixed":
            look = _look(number, tuning)
            axes.stairs(tuning.displacement_cents, comparison.window_edges_seconds, baseline=None, **look)
    axes.axhline(0.0, color="0.8", linewidth=0.8, zorder=0)
    axes.set(xlabel="time [s]", ylabel="displacement of the roots [cents]")

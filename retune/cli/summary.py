"""What a conversion changed, in a dozen lines for a person."""

from __future__ import annotations

from typing import TYPE_CHECKING

from retune.cli.tables import NOTHING, cents, table
from retune.wording import count, plain

if TYPE_CHECKING:
    from collections.abc import Callable

    from retune.check import Figures
    from retune.pipeline import Conversion

SHOWN_BARS = 3


def conversion_summary(conversion: Conversion) -> str:
    """Return the figures before and after, and where the result is least pure."""
    if not len(conversion.analysis.harmony.windows):
        return _heading(conversion) + "no pitched notes, so nothing was retuned\n"
    checked = conversion.checked
    return (
        _heading(conversion) + figures_table(checked.before, checked.after) + "\n" + _worst_bars(conversion)
    )


def _heading(conversion: Conversion) -> str:
    score = conversion.analysis.score
    title = f"{plain(score.title)}: " if score.title else ""
    windows = len(conversion.analysis.harmony.windows)
    music = (
        f"{count(len(score.notes), 'note')} in {count(len(score.parts), 'part')}, {count(windows, 'window')}"
    )
    used = count(conversion.checked.channels, "channel")
    if conversion.checked.ports > 1:
        used += f" of {conversion.checked.ports} ports"
    if len(conversion.files) > 1:
        used += f" in {len(conversion.files)} files"
    return f"{title}{music}; encoded as {conversion.analysis.options.encoding}, {used}\n\n"


def figures_table(before: Figures, after: Figures) -> str:
    """Return the figures of two tunings side by side."""

    def row(name: str, field: str, form: Callable[[float], str], unit: str) -> tuple[str, ...]:
        values = (getattr(before, field), getattr(after, field))
        return (name, *(NOTHING if value is None else form(value) for value in values), unit)

    rows = [
        row("mean distance from pure", "mean_deviation_cents", _number, "cents"),
        row("time within 1 cent of pure", "share_within_1_cent", _percent, "%"),
        row("distance from pure, 95 % of the time", "deviation_p95_cents", _number, "cents"),
        row("movement of a held note, at most", "held_movement_max_cents", _number, "cents"),
        row("shift of a repeated note, 95 % of them", "repeat_shift_p95_cents", _number, "cents"),
        row("displacement of a root, at most", "displacement_max_cents", _number, "cents"),
        row("displacement at the end", "displacement_end_cents", cents, "cents"),
    ]
    return table(("", "before", "after", ""), rows, right=(1, 2))


def _worst_bars(conversion: Conversion) -> str:
    """Return the bars where purity gave way most, "" if none lies a cent from pure."""
    bars = [bar for bar in conversion.checked.worst_bars if bar.after_cents >= 1.0][:SHOWN_BARS]
    if not bars:
        return ""
    places = ", ".join(f"bar {bar.bar} ({bar.after_cents:.1f} cents)" for bar in bars)
    return f"least pure: {places}\n"


def _number(value: float) -> str:
    return f"{value:.1f}"


def _percent(value: float) -> str:
    return f"{100.0 * value:.1f}"

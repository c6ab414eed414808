"""The result of a check, for people and for machines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from retune.check.fidelity import Fidelity
from retune.check.figures import Figures
from retune.check.realised import Realised
from retune.errors import Remark

FORMAT = 1
"""Raised with each change of the structure of `CheckReport.as_json`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LineReport:
    """Lines that leave the usual: repeated notes off by a comma, steps too small or too wide."""

    comma_jumps: tuple[str, ...] = ()
    odd_steps: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BarDeviation:
    """Mean deviation of the consonant pairs of a bar [cents]."""

    bar: int
    before_cents: float | None
    after_cents: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckReport:
    """What a retuned file is, decoded, beside its original."""

    problems: tuple[str, ...]  # one line each; empty in a faithful file that sounds as meant
    before: Figures
    after: Figures
    fidelity: Fidelity
    error: Realised | None  # None: nobody said what was meant
    allowed_error_cents: float
    channels: int
    lines: LineReport
    worst_bars: tuple[BarDeviation, ...]  # the least pure first
    remarks: tuple[Remark, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether nothing was lost and everything sounds as meant."""
        return not self.problems

    @property
    def worst_error_cents(self) -> float | None:
        """Largest distance of a sounding note from what was meant, None if nobody said."""
        return None if self.error is None else self.error.worst_cents

    def as_json(self) -> dict[str, Any]:
        """The report as values that JSON can hold."""
        error = None
        if self.error is not None:
            error = {
                "worst_cents": self.error.worst_cents,
                "mean_cents": self.error.mean_cents,
                "worst_tail_cents": self.error.worst_tail_cents,
                "allowed_cents": self.allowed_error_cents,
            }
        return {
            "format": FORMAT,
            "ok": self.ok,
            "problems": list(self.problems),
            "before": self.before.as_dict(),
            "after": self.after.as_dict(),
            "fidelity": self.fidelity.as_dict(),
            "error": error,
            "channels": self.channels,
            "comma_jumps": list(self.lines.comma_jumps),
            "odd_steps": list(self.lines.odd_steps),
            "worst_bars": [
                {"bar": bar.bar, "before_cents": bar.before_cents, "after_cents": bar.after_cents}
                for bar in self.worst_bars
            ],
            "remarks": [str(remark) for remark in self.remarks],
        }

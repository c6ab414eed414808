"""The result of a check, for people and for machines."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from retune.check.comparison import Comparison, note_at
from retune.check.kept.fidelity import Fidelity
from retune.check.measures.figures import Figures, figures
from retune.check.measures.lines import Moves, comma_jumps, odd_steps
from retune.check.measures.pairs import Pairs, consonant_pairs, per_bar
from retune.check.measures.tuned import TunedNotes, equal_tempered, heard_as, planned
from retune.check.realised import Realised
from retune.errors import Remark
from retune.harmony.model import Harmony
from retune.ratios.consonances import USUAL_PRIME_LIMIT
from retune.ratios.model import Ratios
from retune.score.model import Score

FORMAT = 1
"""Raised with each change of the structure of `CheckReport.as_json`."""
WORST_BARS = 5


class LineReport(NamedTuple):
    """Lines that leave the usual: repeated notes off by a comma, steps too small or too wide."""

    comma_jumps: tuple[str, ...] = ()
    odd_steps: tuple[str, ...] = ()


class BarDeviation(NamedTuple):
    """Mean deviation of the consonant pairs of a bar [cents]."""

    bar: int
    before_cents: float | None
    after_cents: float


@dataclass(frozen=True, kw_only=True)
class Measured:
    """Both files as notes with pitches; figures are worked out when asked for, each once."""

    both: Comparison
    harmony: Harmony | None = None
    ratios: Ratios | None = None
    prime_limit: int = USUAL_PRIME_LIMIT  # which ratios count as pure
    reference_cents: float = 0.0  # where the retuned file's reference pitch lies from 440 Hz

    @cached_property
    def notes_before(self) -> TunedNotes:
        """The original as it sounds."""
        score, original = self.both.score, self.both.original
        if not original.has_own_tuning:
            return equal_tempered(score)
        return heard_as(score, original, np.arange(len(original.notes)))

    @cached_property
    def notes_after(self) -> TunedNotes:
        """The retuned file as it sounds, notes numbered as in the score."""
        return planned(self.both.score, self.both.heard, "cents")

    @cached_property
    def pairs_before(self) -> Pairs:
        """Consonant pairs of the original."""
        return consonant_pairs(self.notes_before, self.prime_limit)

    @cached_property
    def pairs_after(self) -> Pairs:
        """Consonant pairs of the retuned file."""
        return consonant_pairs(self.notes_after, self.prime_limit)

    @cached_property
    def before(self) -> Figures:
        """Figures of the original."""
        return figures(self.notes_before, self.harmony, ratios=self.ratios, pairs=self.pairs_before)

    @cached_property
    def after(self) -> Figures:
        """Figures of the retuned file."""
        return figures(
            self.notes_after,
            self.harmony,
            ratios=self.ratios,
            reference_cents=self.reference_cents,
            pairs=self.pairs_after,
        )

    @cached_property
    def lines(self) -> LineReport:
        """Unusual moves of the retuned file."""
        notes, score = self.notes_after, self.both.score
        return LineReport(
            comma_jumps=_places(score, comma_jumps(notes)), odd_steps=_places(score, odd_steps(notes))
        )

    @cached_property
    def worst_bars(self) -> tuple[BarDeviation, ...]:
        """The least pure bars of the retuned file, the least pure first."""
        meters = self.both.score.meters
        before = dict(zip(*(column.tolist() for column in per_bar(self.pairs_before, meters)), strict=True))
        bars, cents = per_bar(self.pairs_after, meters)
        return tuple(
            BarDeviation(bar=int(bars[k]), before_cents=before.get(int(bars[k])), after_cents=float(cents[k]))
            for k in np.argsort(-cents, kind="stable")[:WORST_BARS]
        )


@dataclass(frozen=True, kw_only=True)
class CheckReport:
    """What a retuned file is, decoded, beside its original."""

    problems: tuple[str, ...]  # one line each; empty in a faithful file that sounds as meant
    fidelity: Fidelity
    error: Realised | None  # None: nobody said what was meant
    allowed_error_cents: float
    channels: int
    ports: int
    measured: Measured = field(repr=False, compare=False)
    remarks: tuple[Remark, ...] = ()

    @property
    def before(self) -> Figures:
        """Figures of the original."""
        return self.measured.before

    @property
    def after(self) -> Figures:
        """Figures of the retuned file."""
        return self.measured.after

    @property
    def lines(self) -> LineReport:
        """Comma jumps and odd melodic steps of the retuned file."""
        return self.measured.lines

    @property
    def worst_bars(self) -> tuple[BarDeviation, ...]:
        """The least pure bars, the least pure first."""
        return self.measured.worst_bars

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


def _places(score: Score, moves: Moves) -> tuple[str, ...]:
    """Each move as a person finds it."""
    return tuple(
        f"{note_at(score, note)}: {cents:.1f} cents"
        for note, cents in zip(moves.later.tolist(), moves.cents.tolist(), strict=True)
    )

"""What a plan says, in a musician's terms: bars and beats, roots, chord types, ratios.

Nothing here knows ticks: `retune.plan.apply` turns a plan into what the stages take, given a score.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from retune.errors import PlanError

Place = tuple[int, float]
"""Bar (from 1) and beat (1.0 = the downbeat, in units of the meter's denominator)."""

Tones = Mapping[int, tuple[int, int]]
"""Semitone above the root → (numerator, denominator) of the tones a plan gives; the rest stays open."""


@dataclass(frozen=True, slots=True)
class PlanSource:
    """The text of a plan and where it came from, so that an error can name its line."""

    name: str
    text: str

    def error(self, path: tuple[str | int, ...], message: str) -> PlanError:
        """Return the error for the value at `path`, naming file, line and field."""
        from retune.toml_lines import line_of

        return PlanError(f"{self.name}, line {line_of(self.text, path)}, {dotted(path)}: {message}")


def dotted(path: tuple[str | int, ...]) -> str:
    """Return a path as a person counts it: ("windows", 2, "root") is `windows 3, root`."""
    words = ""
    for step in path:
        words += f" {step + 1}" if isinstance(step, int) else f"{', ' if words else ''}{step}"
    return words


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanWindow:
    """One row: a stretch of music whose harmony, ratios or both are given."""

    index: int  # place among the plan's rows
    start: Place
    end: Place | None  # None: to the next row or the end of the bar, whichever comes first
    root_pc: int | None  # None: the row gives ratios for the window found here, and leaves its harmony alone
    chord: str  # symbol of the vocabulary; "" if the row names tones instead
    members: int | None  # tones as a bit mask above the root, overriding the chord type
    bass_pc: int | None
    ratios: Tones


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """Limits for a stretch of bars; None leaves the option's limit in force, `inf` lifts it."""

    index: int
    first_bar: int
    last_bar: int  # included
    drift_limit_cents: float | None
    hold_limit_cents: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A plan file, read and checked as far as that is possible without the score."""

    windows: tuple[PlanWindow, ...] = ()
    for_chord: Mapping[str, Tones] = field(default_factory=dict)
    sections: tuple[Section, ...] = ()
    fixed: tuple[str, ...] = ()  # PART texts, as the option takes them
    source: PlanSource = PlanSource("plan", "")

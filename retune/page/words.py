"""What the page says in words: its title, the line of facts, the figures, the lists of places."""

from __future__ import annotations

import re
from math import isfinite
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from retune.harmony.spelling import spell_in_chord
from retune.parts.names import pitch
from retune.wording import plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from retune.harmony.model import Harmony
    from retune.pipeline import Analysis
    from retune.score.model import Score
    from retune.tuning.model import Compromise, Tuning

LISTED_PLACES = 80


class FigureRow(NamedTuple):
    """One figure before and after."""

    label: str
    before: str
    after: str


class PlaceRow(NamedTuple):
    """One line of a list of compromises or shifts; `number` is its place in the tuning's own list."""

    number: int
    where: str
    notes: str
    cents: str
    reason: str


def page_title(analysis: Analysis, title: str | None) -> str:
    """Return the page's heading: what is asked for, else the score's title."""
    return plain(title or analysis.score.title).strip() or "Untitled music"


def plan_name(title: str) -> str:
    """Return a file name for a plan saved from the page."""
    stem = re.sub(r"[^\w]+", "-", title, flags=re.ASCII).strip("-").lower()[:60]
    return f"{stem or 'music'}.plan.toml"


def temperament_words(name: str) -> str:
    """Return a temperament's name as people write it: "Werckmeister III", "Quarter comma meantone"."""
    words = name.replace("-", " ").split()
    words = [word.upper() if set(word) <= {"i"} else word for word in words]
    return " ".join([words[0].capitalize(), *words[1:]])


def fact_line(analysis: Analysis) -> str:
    """Return size and limits of the piece in one line."""
    score, options = analysis.score, analysis.options
    seconds = float(score.clock.seconds(score.end_tick))
    facts = [
        counted(score.last_bar, "bar"),
        f"{int(seconds) // 60}:{int(seconds) % 60:02d}",
        counted(len(score.parts), "part"),
        counted(len(analysis.harmony.windows), "chord"),
        f"prime limit {options.prime_limit}",
        _limit("drift", options.drift_limit_cents),
        _limit("held notes move", options.hold_limit_cents),
    ]
    return " · ".join(facts)


def counted(number: int, noun: str) -> str:
    """Return "1 bar", "2 bars"."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _limit(what: str, cents: float) -> str:
    if not isfinite(cents):
        return f"{what} without limit"
    unit = "cent" if cents == 1 else "cents"
    return f"{what} at most {cents:g} {unit}"


def place_rows(analysis: Analysis, places: Sequence[Compromise]) -> tuple[list[PlaceRow], int]:
    """Return the largest compromises or shifts in order of time, and how many smaller ones are left out."""
    largest = sorted(range(len(places)), key=lambda i: (-abs(places[i].cents), i))[:LISTED_PLACES]
    rows = [_row(analysis, i, places[i]) for i in sorted(largest)]
    return rows, len(places) - len(rows)


def _row(analysis: Analysis, index: int, compromise: Compromise) -> PlaceRow:
    score, harmony = analysis.score, analysis.harmony
    names = dict.fromkeys(note_name(score, harmony, note, compromise.tick) for note in compromise.notes)
    return PlaceRow(
        index,
        score.where(compromise.tick),
        "–".join(names),
        signed(compromise.cents),
        compromise.reason,
    )


def note_name(score: Score, harmony: Harmony, note: int, tick: int) -> str:
    """Return a note's name in the chord and key at a tick, with its octave: "E♭4"."""
    key = int(score.notes["key"][note])
    at = max(int(np.searchsorted(harmony.windows["start_tick"], tick, side="right")) - 1, 0)
    return str(pitch(key, spell_in_chord(key % 12, harmony.windows[at], harmony.key_at(tick))))


def signed(cents: float) -> str:
    """Return cents to one decimal with a true sign: "−13.7", "+2.0", "0.0"."""
    text = f"{abs(cents):.1f}"
    if float(text) == 0:
        return text
    return ("−" if cents < 0 else "+") + text


FIGURE_LABELS = (
    ("mean_deviation_cents", "Distance from pure, mean", "cents"),
    ("deviation_p95_cents", "Distance from pure, 95 % of the time at most", "cents"),
    ("share_within_1_cent", "Within 1 cent of pure", "share"),
    ("held_movement_max_cents", "A held note moves at most", "cents"),
    ("repeat_shift_p95_cents", "A repeated note shifts, 95 % at most", "cents"),
    ("displacement_max_cents", "A chord’s root from equal temperament, at most", "cents"),
    ("displacement_end_cents", "The last chord’s root from equal temperament", "signed"),
)
"""Field of `retune.check.Figures`, what the page calls it, and how it is written."""


def figure_rows(analysis: Analysis, tuning: Tuning) -> list[FigureRow]:
    """Return the figures of equal temperament and of the tuning, side by side."""
    from retune.check.measures.figures import figures, figures_of_tuning
    from retune.check.measures.tuned import equal_tempered

    limit, score, harmony = analysis.options.prime_limit, analysis.score, analysis.harmony
    before = figures(equal_tempered(score), harmony, prime_limit=limit).as_dict()
    counted = tuning.counted_from(analysis.options.reference_hz)
    after = figures_of_tuning(score, harmony, counted, prime_limit=limit).as_dict()
    return [
        FigureRow(label, _figure(before[field], unit), _figure(after[field], unit))
        for field, label, unit in FIGURE_LABELS
    ]


def _figure(value: float | None, unit: str) -> str:
    if value is None:
        return "–"
    if unit == "share":
        return f"{100.0 * value:.1f} %"
    return signed(value) if unit == "signed" else f"{value:.1f}"

"""A score as the encoders see it: instruments, order of events, wanted values."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from retune.arrays import distinct
from retune.encode.survey.instruments import Habits, Instrument, find_instruments, read_habits
from retune.encode.survey.timeline import Timeline, read_timeline
from retune.encode.survey.wanted import Wanted, wanted_steps
from retune.score.model import FloatArray, IntArray, Score
from retune.tuning.model import Tuning


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """What a score holds, before anything is decided."""

    score: Score
    timeline: Timeline
    instruments: tuple[Instrument, ...]
    habits: tuple[Habits, ...]
    of_note: IntArray  # (n_notes,) instrument of each note


@dataclass(frozen=True, slots=True, kw_only=True)
class Music(Survey):
    """A survey, and what each note wants in steps of an encoding."""

    wanted: Wanted
    steps: FloatArray  # (n_instruments,) step of the encoding [cents]
    slots: IntArray  # (n_notes,) slot of a channel that tunes each note
    tuned: tuple[int, ...]  # instruments the encoding has to do with


def survey(score: Score) -> Survey:
    """Look a score over."""
    timeline = read_timeline(score)
    instruments, of_part = find_instruments(score, timeline.others)
    of_note = of_part[score.notes["part"]] if len(score.parts) else np.zeros(0, np.int64)
    first = np.full(len(instruments), -1)
    first[of_note[::-1]] = timeline.on[::-1]  # of several the last one put in stays: the earliest
    first_note = dict(enumerate(first.tolist()))
    return Survey(
        score=score,
        timeline=timeline,
        instruments=instruments,
        habits=read_habits(instruments, timeline.others, first_note),
        of_note=of_note,
    )


def music_of(
    seen: Survey,
    tuning: Tuning,
    steps: FloatArray,
    *,
    slots: IntArray | None = None,
    reach: tuple[IntArray, IntArray] | None = None,
    all_or_none: bool = False,
) -> Music:
    """What each note wants, in `steps` (n_instruments,) [cents], by default in the only slot of its channel.

    `reach` are the lowest and highest value the encoding has for each note, (n_notes,). Instruments that are
    nowhere off equal temperament are left out, unless `all_or_none` and another one is tuned.
    """
    n = len(seen.score.notes)
    wanted = wanted_steps(tuning, n, steps[seen.of_note] if n else np.zeros(0), reach)
    of_row = seen.of_note[wanted.note]
    tuned = distinct(of_row[wanted.value != 0])
    if all_or_none and len(tuned):
        tuned = distinct(of_row)
    return Music(
        **{field.name: getattr(seen, field.name) for field in fields(Survey)},
        wanted=wanted,
        steps=steps,
        slots=np.zeros(n, np.int64) if slots is None else slots,
        tuned=tuple(tuned.tolist()),
    )

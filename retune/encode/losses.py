"""How far what was written is from what was wanted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from retune.arrays import distinct
from retune.constants import BEND_CENTRE
from retune.encode.placing.demand import Move
from retune.encode.placing.spread import Spread
from retune.encode.survey.instruments import Habits
from retune.errors import Remark
from retune.score.model import Score
from retune.tuning.model import Tuning
from retune.units import bend_step_cents


def losses(spread: Spread, tuning: Tuning) -> tuple[float, tuple[Remark, ...]]:
    """Largest difference between tuning and messages [cents], and a remark for each bar affected."""
    music = spread.music
    errors = []
    rows = tuning.offsets
    for note, course in spread.placement.shared.items():
        low, high = np.searchsorted(rows["note"], [note, note + 1])
        step = float(music.steps[int(music.of_note[note])])
        errors.append((note, course_error(course, rows[low:high], step)))
    worst = max([music.wanted.rounding_cents, *(cents for _, cents in errors)])
    return worst, remarks_by_bar(music.score, errors)


def bend_rounding(habits: Sequence[Habits], ranges: Sequence[int], instruments: Iterable[int]) -> float:
    """Largest error [cents] of the input's own bends in steps of the output's `ranges` [semitones].

    `habits` and `ranges` are (n_instruments,). It comes on top of the rounding of the tuning: the input may
    have bent in steps of another range.
    """
    worst = 0.0
    for index in instruments:
        if habits[index].bends:
            steps = np.array(list(habits[index].bends)) / (step := bend_step_cents(ranges[index]))
            sent = np.clip(np.rint(steps), -BEND_CENTRE, BEND_CENTRE - 1)
            worst = max(worst, float(np.abs(steps - sent).max()) * step)
    return worst


def course_error(course: tuple[Move, ...], rows: NDArray[np.void], step: float) -> float:
    """Largest difference between a course [steps] and the offsets wanted over the same time [cents]."""
    ticks = sorted({tick for tick, _ in course} | set(rows["start_tick"].tolist()))
    starts = np.array([tick for tick, _ in course])
    values = np.array([value for _, value in course])
    got = values[np.maximum(np.searchsorted(starts, ticks, side="right") - 1, 0)] * step
    row = np.maximum(np.searchsorted(rows["start_tick"], ticks, side="right") - 1, 0)
    return float(np.abs(got - rows["offset_cents"][row]).max())


def remarks_by_bar(score: Score, errors: list[tuple[int, float]]) -> tuple[Remark, ...]:
    """One remark a bar: how many notes share a tuning there and how far off they are. `errors`: (note, cents)."""
    per_bar: dict[int, list[tuple[int, float]]] = {}
    for note, cents in sorted(errors):
        tick = int(score.notes["onset_tick"][note])
        per_bar.setdefault(int(score.meters.bar_beat(tick)[0]), []).append((tick, cents))
    remarks = []
    for _, found in sorted(per_bar.items()):
        count, most = len(found), max(cents for _, cents in found)
        remarks.append(
            Remark(
                code="channels-full",
                message=f"more tunings sound at once than there are channels: {count} "
                f"note{'s' * (count > 1)} share{'s' * (count == 1)} the tuning of others, "
                f"up to {most:.2f} cents off",
                where=score.where(found[0][0]),
            )
        )
    return tuple(remarks)


def out_of_reach(score: Score, tuning: Tuning, low: float, high: float) -> tuple[Remark, ...]:
    """One remark if offsets lie outside what the encoding reaches [cents]."""
    rows = tuning.offsets
    beyond = np.maximum(low - rows["offset_cents"], rows["offset_cents"] - high)
    if not len(rows) or beyond.max() <= 1e-6:
        return ()
    count = len(distinct(rows["note"][beyond > 1e-6]))
    return (
        Remark(
            code="out-of-reach",
            message=f"this encoding reaches {low:.0f} to {high:.0f} cents: {count} note{'s' * (count > 1)} stop "
            f"short by up to {beyond.max():.2f} cents; use another encoding",
            where=score.where(int(rows["start_tick"][int(np.argmax(beyond))])),
        ),
    )

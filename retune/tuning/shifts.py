"""Where lines give way: notes that change their pitch while they are held, or when they are struck again."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from retune.harmony.model import Harmony
from retune.options import Options
from retune.ratios.model import Ratios
from retune.score.model import Score
from retune.tuning.model import Compromise, Tuning
from retune.tuning.reasons import Context, context, much

SHIFT_CENTS = 5.0
"""Shifts below this are not told: the smallest difference trained ears notice (textbook figure, docs/tuning.md)."""


def find_shifts(
    score: Score, harmony: Harmony, ratios: Ratios, tuning: Tuning, options: Options
) -> tuple[Compromise, ...]:
    """The notes that move by `SHIFT_CENTS` or more, held or struck again within their part, in order of time."""
    c = context(score, harmony, ratios, tuning, options)
    found = [*_struck_again(c), *_moved(c)]
    return tuple(sorted(found, key=lambda shift: (shift.tick, shift.notes)))


def _struck_again(c: Context) -> Iterator[Compromise]:
    later = np.fromiter(c.repeats_of, dtype=np.int64)
    earlier = np.fromiter(c.repeats_of.values(), dtype=np.int64)
    offsets = c.tuning.offsets["offset_cents"]
    cents = offsets[c.first_row[later]] - offsets[c.first_row[earlier + 1] - 1]
    for i in np.flatnonzero(np.abs(cents) >= SHIFT_CENTS).tolist():
        yield _again(c, int(earlier[i]), int(later[i]), float(cents[i]))


def _again(c: Context, earlier: int, later: int, cents: float) -> Compromise:
    last, first = c.pieces_of(earlier).stop - 1, c.pieces_of(later).start
    window_of = c.harmony.pieces["window"]
    window = int(window_of[first])
    name, new_name = c.spelled(earlier, int(window_of[last])), c.spelled(later, window)
    renamed = "" if name == new_name else f" as {new_name}"
    reason = (
        f"{_part(c, later)} repeats the {name} of {c.onset_words(earlier)}{renamed}, "
        f"{much(cents)}, {_why(c, last, first)}"
    )
    return Compromise(
        tick=int(c.score.notes["onset_tick"][later]),
        notes=(earlier, later),
        window=window,
        cents=round(cents, 3),
        reason=reason,
    )


def _why(c: Context, last: int, first: int) -> str:
    """What the shift is for: both notes pure in their chords, or one of them."""
    before, after = (c.label(int(c.harmony.pieces["window"][piece])) for piece in (last, first))
    if c.fits(last) and c.fits(first):
        return (
            "to be pure both times" if before == after else f"to be pure in {before} there, in {after} here"
        )
    if c.fits(first):
        return f"to be pure in {after}"
    return "because to keep it would cost other intervals more"


def _moved(c: Context) -> Iterator[Compromise]:
    rows = c.tuning.offsets
    same = rows["note"][1:] == rows["note"][:-1]
    steps = rows["offset_cents"][1:] - rows["offset_cents"][:-1]
    for row in np.flatnonzero(same & (np.abs(steps) >= SHIFT_CENTS)).tolist():
        note, cents, tick = int(rows["note"][row]), float(steps[row]), int(rows["start_tick"][row + 1])
        window = max(int(np.searchsorted(c.harmony.windows["start_tick"], tick, side="right")) - 1, 0)
        reason = (
            f"{_part(c, note)} moves the {c.spelled(note, window)} held from {c.onset_words(note)}, "
            f"{much(cents)}, to where {c.label(window)} wants it"
        )
        yield Compromise(tick=tick, notes=(note,), window=window, cents=round(cents, 3), reason=reason)


def _part(c: Context, note: int) -> str:
    return c.score.parts[int(c.score.notes["part"][note])].name

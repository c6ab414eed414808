"""What each note wants: its tuning as steps of the encoding over time."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from retune.arrays import begins
from retune.score.model import FloatArray, IntArray
from retune.tuning.model import Tuning


class Wanted(NamedTuple):
    """Tuning values over time.

    Rows of note n are `first[n]` up to `first[n + 1]`; a note's first row starts with its onset, and
    neighbouring rows of a note differ.
    """

    first: IntArray  # (n_notes + 1,)
    note: IntArray  # (n_rows,)
    tick: IntArray  # (n_rows,)
    value: IntArray  # (n_rows,) in steps
    rounding_cents: float  # largest error that the rounding to steps (and their reach) makes

    def moves(self) -> tuple[IntArray, IntArray, IntArray]:
        """Note, tick and value of each row but the first of its note."""
        later = ~begins(self.note)
        return self.note[later], self.tick[later], self.value[later]


def wanted_steps(
    tuning: Tuning, n_notes: int, step_cents: FloatArray, reach: tuple[IntArray, IntArray] | None = None
) -> Wanted:
    """Offsets rounded to whole steps within `reach`, with rows that no longer differ joined.

    `step_cents` is (n_notes,): the size of a step for each note. Notes without rows want nothing (no rows).
    `reach` are the lowest and highest value for each note.
    """
    rows = tuning.offsets
    note, cents = rows["note"], rows["offset_cents"]
    step = step_cents[note]
    value = np.rint(cents / step).astype(np.int64)
    if reach is not None:
        value = np.clip(value, reach[0][note], reach[1][note])
    error = float(np.abs(value * step - cents).max()) if len(rows) else 0.0
    keep = begins(note, value)
    note = note[keep]
    first = note.searchsorted(np.arange(n_notes + 1))
    return Wanted(first, note, rows["start_tick"][keep], value[keep], error)

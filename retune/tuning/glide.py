"""Movement of sounding notes as a glide instead of a jump."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from retune.arrays import ends
from retune.score.model import Score
from retune.tuning.model import OFFSET_DTYPE, Tuning

GLIDE_STEP_CENTS = 1.0  # finer than the smallest pitch difference heard in steady tones (about 3.5 cents)
MOST_GLIDE_STEPS = 32  # so that a wide glide costs a bounded number of messages


def glided(score: Score, tuning: Tuning, milliseconds: float) -> Tuning:
    """The same tuning with every jump of a sounding note drawn out over `milliseconds`.

    The glide begins where the window changes and ends no later than the note's next change. Its steps are
    about `GLIDE_STEP_CENTS` wide, at most `MOST_GLIDE_STEPS` of them. 0 milliseconds changes nothing.
    """
    rows = tuning.offsets
    jumps = np.flatnonzero(rows["note"][1:] == rows["note"][:-1]) + 1
    if milliseconds <= 0 or not len(jumps):
        return tuning
    start = rows["start_tick"][jumps]
    end = score.clock.ticks(score.clock.seconds(start) + milliseconds / 1000.0)
    end = np.minimum(end, rows["end_tick"][jumps])
    before, after = rows["offset_cents"][jumps - 1], rows["offset_cents"][jumps]
    steps = np.clip(np.ceil(np.abs(after - before) / GLIDE_STEP_CENTS), 1, MOST_GLIDE_STEPS).astype(np.int64)
    steps = np.maximum(np.minimum(steps, end - start), 1)
    jump = np.repeat(np.arange(len(jumps)), steps)
    step = np.arange(len(jump)) - np.repeat(np.cumsum(steps) - steps, steps)
    share = (step + 1) / steps[jump]
    new = np.zeros(len(jump), dtype=OFFSET_DTYPE)
    new["note"] = rows["note"][jumps][jump]
    new["start_tick"] = start[jump] + (step * (end - start)[jump]) // steps[jump]
    new["offset_cents"] = before[jump] + share * (after - before)[jump]
    kept = np.ones(len(rows), dtype=bool)
    kept[jumps] = False
    return replace(tuning, offsets=_joined(np.concatenate([rows[kept], new]), rows))


def _joined(parts: NDArray[np.void], rows: NDArray[np.void]) -> NDArray[np.void]:
    """Rows in order, each ending where the next of its note begins, the last where its note ends."""
    ordered = parts[np.lexsort((parts["start_tick"], parts["note"]))]
    ordered["end_tick"][:-1] = ordered["start_tick"][1:]
    ordered["end_tick"][ends(ordered["note"])] = rows["end_tick"][ends(rows["note"])]
    return ordered

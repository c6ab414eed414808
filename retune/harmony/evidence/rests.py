"""Whose harmony a silence is: the bar's at either end of the music, the next chord's where it enters after the beat."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.harmony.evidence.metre import NEAR_BEATS, Grid
from retune.score.model import IntArray, Meters


def silent_beats(starts: IntArray, onset: IntArray, end: IntArray, grid: Grid) -> IntArray:
    """(n,) the step starts, those after a rest moved back to the beat they are in, if that is silent.

    What enters on "and" after a silent beat is the harmony of that beat. `onset` (n_notes,) ascending, and `end`:
    when each note is no longer heard [ticks].
    """
    before = np.maximum(np.searchsorted(onset, starts[1:]) - 1, 0)
    silent_from = np.maximum.accumulate(end)[before]
    beats, _ = grid.place(starts[1:])
    late = beats - np.floor(beats + NEAR_BEATS)
    beat = np.rint(starts[1:] - late * grid.beat_ticks(starts[1:])).astype(np.int64)
    result = starts.copy()
    moves = (silent_from <= beat) & (starts[:-1] < beat) & (beat < starts[1:])
    result[1:][moves] = beat[moves]
    return result


def fill_bars(rows: NDArray[np.void], meters: Meters) -> None:
    """Let the first window or key begin with its bar and the last end with its: a chord rules its whole bar."""
    if not len(rows):
        return
    first, last = meters.bar_beat(np.array([rows["start_tick"][0], rows["end_tick"][-1] - 1]))[0].tolist()
    rows["start_tick"][0] = min(int(rows["start_tick"][0]), meters.tick_of(first))
    rows["end_tick"][-1] = max(int(rows["end_tick"][-1]), meters.tick_of(last + 1))

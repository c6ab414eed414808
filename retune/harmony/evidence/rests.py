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
    before = np.maximum(onset.searchsorted(starts[1:]) - 1, 0)
    silent_from = np.maximum.accumulate(end)[before]
    later = np.flatnonzero(silent_from < starts[1:]) + 1
    if not len(later):
        return starts
    beats, _ = grid.place(starts[later])
    late = beats - np.floor(beats + NEAR_BEATS)
    beat = np.rint(starts[later] - late * grid.beat_ticks(starts[later])).astype(np.int64)
    moves = (silent_from[later - 1] <= beat) & (starts[later - 1] < beat) & (beat < starts[later])
    result = starts.copy()
    result[later[moves]] = beat[moves]
    return result


def fill_bars(windows: NDArray[np.void], keys: NDArray[np.void], meters: Meters) -> None:
    """Let the first window and key begin with their bar, the last end with theirs: a chord rules its whole bar."""
    if not len(windows):
        return
    start, end = int(windows["start_tick"][0]), int(windows["end_tick"][-1])
    first, last = meters.bar_beat(np.array([start, end - 1]))[0].tolist()
    start, end = min(start, meters.tick_of(first)), max(end, meters.tick_of(last + 1))
    for rows in (windows, keys):
        rows["start_tick"][0], rows["end_tick"][-1] = start, end

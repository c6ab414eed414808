"""Notes cut where windows change, and what each piece does in its window."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.harmony.cuts import but_for_late_releases
from retune.harmony.model import PIECE_DTYPE
from retune.harmony.roles import find_roles
from retune.harmony.steps import Steps
from retune.score.model import Score
from retune.score.ringing import ringing_end_ticks


def cut_pieces(score: Score, windows: NDArray[np.void], steps: Steps) -> NDArray[np.void]:
    """PIECE_DTYPE rows of every pitched note, by note and start."""
    index = np.flatnonzero(score.pitched)
    if not len(index):
        return np.zeros(0, dtype=PIECE_DTYPE)
    notes = score.notes[index]
    start = notes["onset_tick"].astype(np.int64)
    end = ringing_end_ticks(score)[index]
    first = np.maximum(np.searchsorted(windows["start_tick"], start, side="right") - 1, 0)
    until = but_for_late_releases(end, start, score.clock)
    last = np.maximum(np.searchsorted(windows["start_tick"], until, side="left") - 1, first)
    count = last - first + 1
    note = np.repeat(np.arange(len(notes)), count)
    window = np.arange(len(note)) - np.repeat(np.cumsum(count) - count, count) + first[note]
    pieces = np.zeros(len(note), dtype=PIECE_DTYPE)
    pieces["note"] = index[note]
    pieces["window"] = window
    pieces["start_tick"] = np.where(window == first[note], start[note], windows["start_tick"][window])
    pieces["end_tick"] = np.where(window == last[note], end[note], windows["end_tick"][window])
    pieces["role"] = find_roles(steps, notes, note, pieces, windows)
    return pieces

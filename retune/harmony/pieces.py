"""Notes cut where windows change, and what each piece does in its window."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.harmony.evidence.steps import Steps
from retune.harmony.model import PIECE_DTYPE
from retune.harmony.roles import find_roles
from retune.score.model import Score


def cut_pieces(score: Score, windows: NDArray[np.void], steps: Steps) -> NDArray[np.void]:
    """PIECE_DTYPE rows of every pitched note, by note and start."""
    index = np.flatnonzero(score.pitched)
    if not len(index):
        return np.zeros(0, dtype=PIECE_DTYPE)
    notes = score.notes[index]
    start = notes["onset_tick"].astype(np.int64)
    first = np.maximum(np.searchsorted(windows["start_tick"], start, side="right") - 1, 0)
    last = np.maximum(np.searchsorted(windows["start_tick"], steps.until, side="left") - 1, first)
    count = last - first + 1
    note = np.repeat(np.arange(len(notes)), count)
    window = np.arange(len(note)) - np.repeat(np.cumsum(count) - count, count) + first[note]
    pieces = np.zeros(len(note), dtype=PIECE_DTYPE)
    pieces["note"] = index[note]
    pieces["window"] = window
    pieces["start_tick"] = np.where(window == first[note], start[note], windows["start_tick"][window])
    pieces["end_tick"] = np.where(window == last[note], steps.end[note], windows["end_tick"][window])
    pieces["role"] = find_roles(steps, notes, note, pieces, windows)
    return pieces

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
    start, starts = score.notes["onset_tick"][index], windows["start_tick"].copy()
    first = np.maximum(starts.searchsorted(start, side="right") - 1, 0)
    last = np.maximum(starts.searchsorted(steps.until, side="left") - 1, first)
    count = last - first + 1
    note = np.arange(len(index)).repeat(count)
    window = np.arange(len(note)) - (count.cumsum() - count - first).repeat(count)
    pieces = np.zeros(len(note), dtype=PIECE_DTYPE)
    pieces["note"] = index[note]
    pieces["window"] = window
    pieces["start_tick"] = np.where(window == first[note], start[note], starts[window])
    pieces["end_tick"] = np.where(window == last[note], steps.end[note], windows["end_tick"][window])
    pieces["role"] = find_roles(steps, note, window, windows)
    return pieces

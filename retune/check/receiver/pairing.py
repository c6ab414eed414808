"""Which note-off ends which note-on: first in, first out for each key of each channel in each track."""

from __future__ import annotations

from collections import defaultdict, deque

import numpy as np

from retune.arrays import ends
from retune.score.model import IntArray


def pair_notes(lanes: IntArray, starts: IntArray) -> IntArray:
    """Row of the note-off that ends each note-on, -1 if none does.

    `lanes` (n,) is the key of a channel of a port in a track that each event belongs to, `starts` (n,) 1 for a note-on
    and -1 for a note-off; rows are in playing order. A note-off finding nothing to end is ignored. MIDI 1.0
    (p. A-4) leaves overlapping notes of one key to the receiver; the oldest is ended first here, but where a
    note-off is missing, each later one ends all that sound, or every note after it would last too long.

    Returns (n_starts,) rows, in the order of the note-ons.
    """
    order = lanes.argsort(kind="stable")
    sounding = starts[order].cumsum()
    if (sounding >= 0).all() and not sounding[ends(lanes[order])].any():  # each has its partner
        begun = starts[order] > 0
        ended = np.empty(len(lanes), dtype=np.int64)
        ended[order[begun]] = order[~begun]
        return ended[starts > 0]
    return _walked(lanes, starts)


def _walked(lanes: IntArray, starts: IntArray) -> IntArray:
    """The same, event by event."""
    ended = np.full(len(lanes), -1, dtype=np.int64)
    waiting: defaultdict[int, deque[int]] = defaultdict(deque)
    for row, (lane, start) in enumerate(zip(lanes.tolist(), starts.tolist(), strict=True)):
        if start > 0:
            waiting[lane].append(row)
        elif waiting[lane]:
            ended[waiting[lane].popleft()] = row
    for lane, left in waiting.items():
        if left:
            _end_together(np.flatnonzero(lanes == lane).tolist(), starts, ended)
    result: IntArray = ended[starts > 0]
    return result


def _end_together(rows: list[int], starts: IntArray, ended: IntArray) -> None:
    """From the last silence of a key that is short of note-offs: let each note-off end all open notes."""
    sounding, silence = 0, 0
    for k, row in enumerate(rows):
        if starts[row] > 0:
            silence = silence if sounding else k
            sounding += 1
        else:
            sounding = max(sounding - 1, 0)
    waiting: list[int] = []
    for row in rows[silence:]:
        if starts[row] > 0:
            waiting.append(row)
            ended[row] = -1
        else:
            ended[waiting] = row
            waiting = []


def rank_in_group(groups: IntArray) -> IntArray:
    """Count of equal values before each row of a sorted column."""
    result: IntArray = np.arange(len(groups)) - groups.searchsorted(groups)
    return result

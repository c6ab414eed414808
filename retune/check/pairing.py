"""Which note-off ends which note-on: first in, first out for each key of each channel in each track."""

from __future__ import annotations

import numpy as np

from retune.arrays import distinct
from retune.check.sounding import IntArray


def pair_notes(lanes: IntArray, starts: IntArray) -> IntArray:
    """Row of the note-off that ends each note-on, -1 if none does.

    `lanes` (n,) is the key of a channel of a port in a track that each event belongs to, `starts` (n,) 1 for a note-on
    and -1 for a note-off; rows are in playing order. A note-off finding nothing to end is ignored. MIDI 1.0
    (p. A-4) leaves overlapping notes of one key to the receiver; the oldest is ended first here, but where a
    note-off is missing, each later one ends all that sound, or every note after it would last too long.

    Returns (n_starts,) rows, in the order of the note-ons.
    """
    order = np.argsort(lanes, kind="stable")
    step, lane = starts[order], lanes[order]
    new_lane = np.append(True, lane[1:] != lane[:-1])[: len(lane)]
    group = np.cumsum(new_lane) - 1
    total = np.cumsum(step)
    before = (total - step)[new_lane][group] if len(lane) else total
    sounding = total - before
    # A note-off is idle where the count of its lane sinks to a new low below zero. Lanes are kept apart by
    # giving each a far lower base than the one before, so that one running minimum serves all.
    base = -group * (2 * len(lane) + 2)
    floor = np.minimum.accumulate(np.minimum(sounding, 0) + base)
    earlier = np.append(0, floor[:-1])[: len(lane)]
    low_before = np.where(new_lane, base, earlier)
    idle = (step < 0) & (floor < low_before)
    ons, offs = np.flatnonzero(step > 0), np.flatnonzero((step < 0) & ~idle)
    place = np.full(len(lane), -1, dtype=np.int64)
    rank_on, rank_off = rank_in_group(group[ons]), rank_in_group(group[offs])
    width = len(lane) + 1
    keys = group[offs] * width + rank_off
    wanted = group[ons] * width + rank_on
    k = np.searchsorted(keys, wanted)
    found = np.append(keys, -1)[k] == wanted
    place[ons[found]] = order[offs[k[found]]]
    by_row = np.full(len(lane), -1, dtype=np.int64)
    by_row[order] = place
    for lane_missing in distinct(lanes[(starts > 0) & (by_row < 0)]).tolist():
        _end_together(np.flatnonzero(lanes == lane_missing).tolist(), starts, by_row)
    result: IntArray = np.asarray(by_row[np.flatnonzero(starts > 0)], dtype=np.int64)
    return result


def _end_together(rows: list[int], starts: IntArray, ends: IntArray) -> None:
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
            ends[row] = -1
        else:
            ends[waiting] = row
            waiting = []


def rank_in_group(groups: IntArray) -> IntArray:
    """Count of equal values before each row of a sorted column."""
    if not len(groups):
        return np.zeros(0, dtype=np.int64)
    first = np.append(True, groups[1:] != groups[:-1])
    starts = np.flatnonzero(first)
    result: IntArray = np.arange(len(groups)) - starts[np.cumsum(first) - 1]
    return result

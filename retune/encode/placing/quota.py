"""How many channels each instrument may hold when several want more than one."""

from __future__ import annotations

import numpy as np

from retune.arrays import begins
from retune.encode.placing.demand import Demand
from retune.encode.survey.wanted import Wanted
from retune.score.model import IntArray

Need = tuple[int, bool]
"""Most channels that some instruments need at one time, and whether they want more than one tuning."""

_OF_ITS_OWN = 1 << 40  # above every tuning in steps


def quotas(needs: dict[int, Need], free: int) -> dict[int, int]:
    """Channels each instrument may hold, its own included, where `free` are nobody's own.

    Each gets what it needs for the notes that sound together. What is left goes round, up to as much again,
    so that the tails of one chord need not follow the bends of the next. An instrument that never changes its
    bend keeps to its own channel.
    """
    left = len(needs) + free - sum(need for need, _ in needs.values())
    result = {i: need for i, (need, _) in needs.items()}
    hungry = [i for i, (_, several) in needs.items() if several]
    while left > 0 and hungry:
        for i in list(hungry):
            if left <= 0:
                break
            if result[i] >= 2 * needs[i][0]:
                hungry.remove(i)
                continue
            result[i] += 1
            left -= 1
    return result


def needed_channels(demand: Demand, wanted: Wanted, group: IntArray) -> dict[int, Need]:
    """What the notes of each group need; `group` (n,) of the notes of `demand`, those of an instrument or of several.

    Notes that keep one tuning need as many channels as there are different tunings in a slot; a note that
    moves is counted as a tuning of its own.
    """
    if not len(group):
        return {}
    first = wanted.first[demand.note]
    moves = wanted.first[demand.note + 1] > first + 1
    tuning = np.where(moves, demand.note + _OF_ITS_OWN, wanted.value[first])
    order = np.lexsort((demand.on, tuning, demand.slot, group))
    columns = (group, demand.slot, tuning, demand.on, demand.end)
    group, slot, tuning, on, end = (column[order] for column in columns)
    starts = begins(tuning, slot, group)
    shift = starts.cumsum() * (int(end.max()) + 1)
    reach = np.maximum.accumulate(end + shift)  # furthest end so far of each tuning
    starts[1:] = (on + shift)[1:] > reach[:-1]
    rows = starts.nonzero()[0]
    counts = most_at_once(on[rows], np.maximum.reduceat(end, rows), slot[rows], group[rows])
    heads = begins(group).nonzero()[0]
    highest = np.maximum.reduceat(tuning, heads)
    several = (highest >= _OF_ITS_OWN) | (highest > np.minimum.reduceat(tuning, heads))
    needs = zip(counts.tolist(), several.tolist(), strict=True)
    return dict(zip(group[heads].tolist(), needs, strict=True))


def most_at_once(on: IntArray, end: IntArray, slot: IntArray, group: IntArray) -> IntArray:
    """(n_groups,) most intervals that overlap in a slot of each group. Arrays are (n,), ordered by group and slot."""
    shift = begins(slot, group).cumsum() * (int(end.max()) + 1)
    depth = np.arange(1, len(on) + 1) - np.searchsorted(
        np.sort(end + shift), np.sort(on + shift), side="right"
    )
    return np.maximum.reduceat(depth, begins(group).nonzero()[0])

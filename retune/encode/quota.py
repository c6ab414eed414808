"""How many channels each instrument may hold when several want more than one."""

from __future__ import annotations

import numpy as np

from retune.arrays import among, begins, distinct
from retune.encode.allocate import Demand
from retune.encode.wanted import Wanted
from retune.score.model import IntArray


def quotas(demand: Demand, wanted: Wanted, instruments: list[int], free: int) -> dict[int, int]:
    """Channels each instrument may hold, its own included.

    Each gets what it needs for the notes that sound together. What is left goes round, up to as much again,
    so that the tails of one chord need not follow the bends of the next. An instrument that never changes its
    bend keeps to its own channel.
    """
    needs = {i: needed_channels(demand, wanted, [i]) for i in instruments}
    left = len(instruments) + free - sum(need for need, _ in needs.values())
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


def needed_channels(demand: Demand, wanted: Wanted, instruments: list[int]) -> tuple[int, bool]:
    """Most channels that some instruments together need at one time, and whether they want more than one tuning.

    Notes that keep one tuning need as many channels as there are different tunings in a slot; a note that
    moves is counted as a tuning of its own.
    """
    chosen = np.nonzero(among(demand.instrument, instruments))[0]
    if not len(chosen):
        return 1, False
    note = demand.note[chosen]
    slot = demand.slot[chosen]
    on, end = demand.on[chosen], demand.end[chosen]
    first, rows = wanted.first[note], wanted.first[note + 1] - wanted.first[note]
    value = wanted.value[first]
    several = bool((rows > 1).any()) or bool((value != value[0]).any())
    own = np.where(rows > 1, note + 1, 0)
    order = np.lexsort((on, own, value, slot))
    on, end, value, own, slot = on[order], end[order], value[order], own[order], slot[order]
    new_group = begins(value, own, slot)
    most = int(end.max()) + 1
    group = np.cumsum(new_group) - 1
    reach = np.maximum.accumulate(end + group * most) - group * most  # furthest end so far in each group
    starts = new_group.copy()
    starts[1:] |= on[1:] > reach[:-1]
    begin = np.nonzero(starts)[0]
    stop = np.append(begin[1:], len(on)) - 1
    return max(
        most_at_once(on[begin[slot[begin] == s]], reach[stop[slot[begin] == s]]) for s in distinct(slot)
    ), several


def most_at_once(on: IntArray, end: IntArray) -> int:
    """Most intervals that overlap."""
    if not len(on):
        return 0
    ticks = np.concatenate([on, end])
    change = np.concatenate([np.ones(len(on), np.int64), -np.ones(len(end), np.int64)])
    order = np.lexsort((change, ticks))
    return int(np.cumsum(change[order]).max())

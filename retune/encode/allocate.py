"""Which channel each note takes: every note in its own tuning, with as few channels as possible.

A channel carries one tuning at a time in each of its slots. With pitch bend there is one slot, since a bend
moves the whole channel; with a tuning table there is one slot a pitch class or key. A note may join a slot
that sounds if both want the same tuning as long as both sound; otherwise it needs a slot that is silent. For
notes that each keep one tuning this is interval partitioning, where taking any silent channel uses the fewest
possible; which of the silent channels it is decides what happens to the tails of released notes:

1. one whose tuning is the wanted one already, so that nothing is sent and nothing bent;
2. the one released longest ago, if its tail has died away;
3. a further channel, within the instrument's quota;
4. the one released longest ago, tail or not;
5. a channel that another instrument does not need at the moment.

Least recently released first: M1-100-UM v1.1 A.3; the rest is our own.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from retune.encode.wanted import Wanted
from retune.score.model import IntArray

NEVER = 1 << 62


@dataclass(slots=True)
class Slot:
    """One tuning of a channel: its course over time and until when it is needed."""

    value: int = 0  # the last value of the course
    end: int = -1  # rank at which the last note on it ends
    end_tick: int = 0
    last_change: int = 0  # tick of the last row of `course`
    course: list[tuple[int, int]] = field(default_factory=list)  # (tick, value)

    def at(self, tick: int) -> int:
        """Value in force at a tick."""
        if self.last_change <= tick:
            return self.value
        return next((value for start, value in reversed(self.course) if start <= tick), self.value)


@dataclass(slots=True)
class Lane:
    """One channel a note may be put on."""

    number: int  # of the channel among all channels of the port and its further ports
    home: int = -1  # instrument whose channel it is in the input
    end: int = -1  # rank at which the last note on it ends
    rested: int = 0  # tick at which the last tail has died away
    slots: dict[int, Slot] = field(default_factory=dict)
    releases: dict[int, int] = field(default_factory=dict)  # key -> rank of its last note-off
    users: list[int] = field(default_factory=list)  # instruments in the order of first use


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """The notes to be placed, as parallel lists in playing order."""

    note: list[int]  # index into Score.notes
    instrument: list[int]
    slot: list[int]
    key: list[int]
    on: list[int]  # ranks
    off: list[int]
    end: list[int]
    on_tick: list[int]
    end_tick: list[int]
    rested: list[int]  # tick at which the note's tail has died away


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """Where the notes went. Arrays are (n_notes,), -1 where a note was not placed."""

    lane: IntArray
    start_value: IntArray
    shared: dict[int, tuple[tuple[int, int], ...]]  # notes that got a tuning not their own: its course


class Lanes:
    """All channels of one port during allocation: who holds which, and which are free."""

    def __init__(
        self,
        *,
        homes: dict[int, Lane],
        pool: list[Lane],
        quota: dict[int, int],
        busy_ranks: dict[int, list[int]],
        more: Callable[[], list[Lane]] | None = None,
    ) -> None:
        self.held: dict[int, list[Lane]] = {i: [lane] for i, lane in homes.items()}
        self.homes, self.pool, self.quota, self.busy_ranks = homes, pool, quota, busy_ranks
        self.more = more

    def take_new(self, instrument: int) -> Lane | None:
        """A channel nobody holds, for keeps."""
        if not self.pool:
            return None
        lane = self.pool.pop(0)
        self.held[instrument].append(lane)
        return lane

    def take_idle(self, instrument: int, on: int, end: int) -> Lane | None:
        """A channel another instrument does not need now; that one's own channel only as a loan."""
        best: Lane | None = None
        owner = -1
        for other, lanes in self.held.items():
            if other != instrument:
                for lane in lanes:
                    if lane.home != other and lane.end < on and (best is None or lane.end < best.end):
                        best, owner = lane, other
        if best is not None:
            self.held[owner].remove(best)
            self.held[instrument].append(best)
            return best
        loans = [
            lane
            for other, lane in self.homes.items()
            if other != instrument and lane.end < on and self._clear(lane, on, end)
        ]
        return min(loans, key=lambda lane: lane.end, default=None)

    def take_further(self, instrument: int) -> Lane | None:
        """A channel of a further port, if those may be used."""
        if self.more is None:
            return None
        self.pool.extend(self.more())
        lane = self.pool.pop(0)
        self.held[instrument].append(lane)
        return lane

    def _clear(self, lane: Lane, on: int, end: int) -> bool:
        """True if the channel's owner has no event between two ranks."""
        ranks = self.busy_ranks.get(lane.home, [])
        k = bisect_right(ranks, on)
        return k == len(ranks) or ranks[k] > end


def place_notes(demand: Demand, wanted: Wanted, lanes: Lanes, n_notes: int) -> Placement:
    """Give every note of `demand` a channel. Linear in the notes; sixteen channels bound the work a note."""
    lane_of = np.full(n_notes, -1, np.int64)
    start_value = np.zeros(n_notes, np.int64)
    shared: dict[int, tuple[tuple[int, int], ...]] = {}
    first, row_tick, row_value = wanted.first.tolist(), wanted.tick.tolist(), wanted.value.tolist()
    columns = (
        demand.note,
        demand.instrument,
        demand.slot,
        demand.key,
        demand.on,
        demand.off,
        demand.end,
        demand.on_tick,
        demand.end_tick,
        demand.rested,
    )
    for note, instrument, slot_id, key, on, off, end, on_tick, end_tick, rested in zip(*columns, strict=True):
        low, high = first[note], first[note + 1]
        value = row_value[low]
        moves = (
            list(zip(row_tick[low + 1 : high], row_value[low + 1 : high], strict=True))
            if high > low + 1
            else []
        )
        lane, joins = _choose(lanes, instrument, slot_id, key, on, end, on_tick, end_tick, value, moves)
        if lane is None:
            lane = _nearest(lanes.held[instrument], slot_id, on, on_tick, value)
            shared[note] = _course(lane.slots[slot_id], on_tick, end_tick)
            value, moves, joins = shared[note][0][1], [], True
        slot = lane.slots.get(slot_id)
        if slot is None:
            slot = lane.slots[slot_id] = Slot()
        if not joins:
            slot.course, slot.value, slot.last_change = [(on_tick, value)], value, on_tick
            slot.end_tick = on_tick
        for move in moves:
            if move[0] >= slot.end_tick and move[0] > slot.last_change:
                slot.course.append(move)
                slot.last_change, slot.value = move
        slot.end, slot.end_tick = max(slot.end, end), max(slot.end_tick, end_tick)
        lane.end, lane.rested = max(lane.end, end), max(lane.rested, rested)
        lane.releases[key] = max(lane.releases.get(key, -1), off)
        if not lane.users or lane.users[-1] != instrument:
            lane.users.append(instrument)
        lane_of[note], start_value[note] = lane.number, value
    return Placement(lane=lane_of, start_value=start_value, shared=shared)


def _choose(
    lanes: Lanes,
    instrument: int,
    slot_id: int,
    key: int,
    on: int,
    end: int,
    on_tick: int,
    end_tick: int,
    value: int,
    moves: list[tuple[int, int]],
) -> tuple[Lane | None, bool]:
    """The channel of a note by the order of the module's docstring, and whether it joins notes that sound."""
    same: Lane | None = None
    quiet: Lane | None = None
    ringing: Lane | None = None
    doubled: Lane | None = None
    held = lanes.held[instrument]
    for lane in held:
        slot = lane.slots.get(slot_id)
        if slot is None:
            if quiet is None or quiet.slots.get(slot_id) is not None:
                quiet = lane
            continue
        if slot.end > on:
            if slot.at(on_tick) == value and _agree(slot, on_tick, end_tick, value, moves):
                if lane.releases.get(key, -1) < on:
                    return lane, True
                doubled = lane
        elif slot.value == value:
            same = same or lane
        elif lane.rested <= on_tick:
            if quiet is None or lane.end < quiet.end:
                quiet = lane
        elif ringing is None or lane.end < ringing.end:
            ringing = lane
    chosen = same or quiet
    if chosen is None and len(held) < lanes.quota[instrument]:
        chosen = lanes.take_new(instrument)
    chosen = chosen or ringing
    if chosen is not None:
        return chosen, False
    if doubled is not None:
        return doubled, True
    chosen = (
        lanes.take_new(instrument) or lanes.take_idle(instrument, on, end) or lanes.take_further(instrument)
    )
    return chosen, False


def _agree(slot: Slot, on_tick: int, end_tick: int, value: int, moves: list[tuple[int, int]]) -> bool:
    """True if a note that starts now wants what the slot will do as long as both sound."""
    until = min(slot.end_tick, end_tick)
    mine = [move for move in moves if move[0] < until]
    theirs = [row for row in slot.course if on_tick < row[0] < until] if slot.last_change > on_tick else []
    return mine == theirs


def _nearest(held: list[Lane], slot_id: int, on: int, on_tick: int, value: int) -> Lane:
    """The channel whose tuning is closest; every channel sounds."""
    return min(held, key=lambda lane: abs(lane.slots[slot_id].at(on_tick) - value))


def _course(slot: Slot, on_tick: int, end_tick: int) -> tuple[tuple[int, int], ...]:
    """What a slot does from `on_tick` to `end_tick`, as known now."""
    later = [row for row in slot.course if on_tick < row[0] < end_tick]
    return ((on_tick, slot.at(on_tick)), *later)

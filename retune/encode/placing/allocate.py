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
5. a channel that nobody or another instrument needs at the moment, or one of a further port;
6. none: notes share tunings (see share.py).

Least recently released first: M1-100-UM v1.1 A.3; the rest is our own.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from retune.constants import CHANNELS_PER_PORT
from retune.encode.placing.channels import Lane, Lanes, Slot
from retune.encode.placing.demand import Demand, Move, Request
from retune.encode.survey.wanted import Wanted
from retune.score.model import IntArray


class Placement(NamedTuple):
    """Where the notes went. Arrays are (n_notes,), -1 where a note was not placed."""

    lane: IntArray
    start_value: IntArray
    shared: dict[int, tuple[Move, ...]]  # notes that got a tuning not their own: its course
    cut: dict[int, int]  # notes whose channel was given away while a pedal (or mono mode) held them: tick

    @classmethod
    def of_none(cls, n_notes: int) -> Placement:
        """No note is placed yet."""
        return cls(np.full(n_notes, -1), np.zeros(n_notes, np.int64), {}, {})

    def take(self, allocator: Allocator) -> None:
        """Place notes where an allocator has put them."""
        notes = np.array(list(allocator.placed), np.int64)
        self.lane[notes] = [lane.number for lane, _ in allocator.placed.values()]
        self.start_value[notes] = [value for _, value in allocator.placed.values()]
        self.shared.update(allocator.shared)
        self.cut.update(allocator.cut)


class Allocator:
    """Places the notes of one port, in playing order. Linear in the notes: sixteen channels bound each step."""

    def __init__(
        self, demand: Demand, wanted: Wanted, lanes: Lanes, close: NDArray[np.float64] | None = None
    ) -> None:
        """`close` (n,): `Request.close` of each note."""
        self.lanes = lanes
        self.requests = demand.cast(wanted)
        if close is not None:
            for request, steps in zip(self.requests, close.tolist(), strict=True):
                request.close = steps
        self.placed: dict[int, tuple[Lane, int]] = {}  # note → channel, and the value it starts with
        self.shared: dict[int, tuple[Move, ...]] = {}
        self.cut: dict[int, int] = {}

    def choose(self, request: Request) -> tuple[Lane | None, bool]:
        """The channel of a note by the order of the module's docstring, and whether it joins others."""
        lanes, instrument = self.lanes, request.instrument
        if instrument in lanes.mono:
            return lanes.homes[instrument], False
        if lanes.apart:
            return self._choose_apart(request)
        same: Lane | None = None
        quiet: Lane | None = None
        spare: Lane | None = None
        ringing: Lane | None = None
        doubled: Lane | None = None
        held, value, slot_id = lanes.held[instrument], request.value, request.slot
        on, tick = request.on, request.on_tick
        for lane in held:
            slot = lane.slots.get(slot_id)
            if slot is not None and slot.end > on:
                if slot.at(tick) != value:
                    continue
                if slot.agrees(tick, request.end_tick, request.moves):
                    if not lane.has_key(request):
                        return lane, True
                    doubled = lane
            elif lane.number >= CHANNELS_PER_PORT:
                if spare is None or lane.end < spare.end:
                    spare = lane
            elif slot is None:
                if quiet is None or slot_id in quiet.slots:
                    quiet = lane
            elif slot.value == value:
                same = same or lane
            elif lane.rested <= tick:
                if quiet is None or lane.end < quiet.end:
                    quiet = lane
            elif ringing is None or lane.end < ringing.end:
                ringing = lane
        if request.close > 0.0 and (near := self._near(request)) is not None:
            return near, True
        chosen = same or quiet
        if chosen is None and len(held) < lanes.quota[instrument]:
            chosen = lanes.take_new(instrument)
        chosen = chosen or ringing
        if chosen is not None:
            return chosen, False
        if doubled is not None:
            return doubled, True
        chosen = lanes.take_new(instrument) or lanes.take_idle(instrument, on, request.end)
        return chosen or spare or lanes.take_further(instrument), False

    def _choose_apart(self, request: Request) -> tuple[Lane | None, bool]:
        """The channel released longest ago; else one that sounds alike; else one whose keys are all up.

        M1-100-UM v1.1 A.3, and 2.2.6: notes that only the pedal holds no longer follow their channel. Where
        it is crowded, notes that sound alike share first of all.
        """
        held = self.lanes.held[request.instrument]
        idle = min((lane for lane in held if lane.end < request.on), key=lambda a: a.end, default=None)
        if idle is not None and request.close < 0.0:
            return idle, False
        for lane in held:
            slot = lane.slots.get(request.slot)
            if slot is None or slot.end < request.on or lane.has_key(request):
                continue
            if slot.at(request.on_tick) == request.value and slot.agrees(
                request.on_tick, request.end_tick, request.moves
            ):
                return lane, True
        if request.close > 0.0 and (near := self._near(request)) is not None:
            return near, True
        if idle is not None:
            return idle, False
        up = [lane for lane in held if max(lane.releases.values()) < request.on]
        return min(up, key=lambda a: max(a.releases.values()), default=None), False

    def _near(self, request: Request) -> Lane | None:
        """A channel that sounds in nearly the wanted tuning."""
        best: Lane | None = None
        least = request.close
        for lane in self.lanes.held[request.instrument]:
            slot = lane.slots.get(request.slot)
            if (
                slot is not None
                and slot.end > request.on
                and not (self.lanes.apart and lane.has_key(request))
            ):
                distance = abs(slot.at(request.on_tick) - request.value)
                if distance <= least:
                    best, least = lane, distance
        return best

    def put(self, request: Request, lane: Lane, *, joins: bool) -> None:
        """Put a note on a channel, in its own tuning or, where it joins another one, in that."""
        slot = lane.slots.get(request.slot)
        if slot is None:
            slot = lane.slots[request.slot] = Slot()
        note, tick, value = request.note, request.on_tick, request.value
        self.shared.pop(note, None)
        if not joins:
            if slot.end > request.on:
                self.cut.update(dict.fromkeys(slot.notes, tick))
            slot.start(request)
        elif not slot.join(request):
            value = slot.at(tick)
            self.shared[note] = slot.course_from(tick, request.end_tick)
        lane.hold(request)
        if request.instrument in self.lanes.private:
            lane.private = True
        self.placed[note] = lane, value

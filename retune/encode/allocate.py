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

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from retune.constants import CHANNELS_PER_PORT
from retune.encode.wanted import Wanted
from retune.score.model import IntArray

Move = tuple[int, int]
"""Tick and the value from then on."""


@dataclass(slots=True)
class Slot:
    """One tuning of a channel: its course over time and until when it is needed."""

    value: int = 0  # the last value of the course
    end: int = -1  # rank at which the last note on it ends
    end_tick: int = 0
    last_change: int = 0  # tick of the last row of `course`
    course: list[Move] = field(default_factory=list)
    notes: list[int] = field(default_factory=list)  # put on it since the course began

    def at(self, tick: int) -> int:
        """Value in force at a tick."""
        if self.last_change <= tick:
            return self.value
        return next((value for start, value in reversed(self.course) if start <= tick), self.value)

    def start(self, request: Request) -> None:
        """Begin the course that a note wants."""
        self.course = [(request.on_tick, request.value), *request.moves]
        self.last_change, self.value = self.course[-1]
        self.end_tick, self.notes = request.end_tick, [request.note]
        if self.end < request.end:
            self.end = request.end

    def join(self, request: Request) -> bool:
        """Go on for a note that joins, with its moves behind what is settled; True if all is as the note wants it."""
        tick = request.on_tick
        agrees = self.at(tick) == request.value and self.agrees(tick, request.end_tick, request.moves)
        for move in request.moves if agrees else ():
            if move[0] >= self.end_tick and move[0] > self.last_change:
                self.course.append(move)
                self.last_change, self.value = move
        if self.end < request.end:
            self.end = request.end
        if self.end_tick < request.end_tick:
            self.end_tick = request.end_tick
        self.notes.append(request.note)
        return agrees

    def agrees(self, tick: int, end_tick: int, moves: Sequence[Move]) -> bool:
        """True if a note that starts now wants the moves the slot will make as long as both sound."""
        if not moves and self.last_change <= tick:
            return True
        until = min(self.end_tick, end_tick)
        mine = [move for move in moves if move[0] < until]
        theirs = [row for row in self.course if tick < row[0] < until] if self.last_change > tick else []
        return mine == theirs

    def course_from(self, tick: int, end_tick: int) -> tuple[Move, ...]:
        """What the slot does between two ticks, as settled by now."""
        return ((tick, self.at(tick)), *(row for row in self.course if tick < row[0] < end_tick))


@dataclass(slots=True)
class Lane:
    """One channel a note may be put on."""

    number: int  # channel, plus 16 for each further port
    home: int = -1  # instrument whose channel it is in the input
    end: int = -1  # rank at which the last note on it ends
    rested: int = 0  # tick at which the last tail has died away
    slots: dict[int, Slot] = field(default_factory=dict)
    releases: dict[int, int] = field(default_factory=dict)  # key -> rank of its last note-off
    first_user: int = -1
    user: int = -1  # instrument of the note put on it last; a channel on loan has another one than its home
    private: bool = False  # set up in a way that cannot be undone

    def hold(self, request: Request) -> None:
        """Note down a note that was put on it, and until when that needs it."""
        self.user = request.instrument
        if self.first_user < 0:
            self.first_user = request.instrument
        if self.end < request.end:
            self.end = request.end
        if self.rested < request.rested:
            self.rested = request.rested
        if self.releases.get(request.key, -1) < request.off:
            self.releases[request.key] = request.off

    def has_key(self, request: Request) -> bool:
        """True if the key of a note is down already, so that two releases could be confused."""
        return self.releases.get(request.key, -1) > request.on

    def crosses(self, request: Request) -> bool:
        """True if the first release of the key would be this note's, and end the note before it."""
        return self.releases.get(request.key, -1) > request.off


class Demand(NamedTuple):
    """The notes to be placed, in playing order. Arrays are (n,)."""

    note: IntArray  # index into Score.notes
    instrument: IntArray
    slot: IntArray
    key: IntArray
    on: IntArray  # ranks
    off: IntArray
    end: IntArray
    on_tick: IntArray
    end_tick: IntArray
    rested: IntArray  # tick at which the note's tail has died away

    def cast(self, wanted: Wanted) -> list[Request]:
        """The same as objects, for the loop."""
        first, after = wanted.first[self.note], wanted.first[self.note + 1]
        columns = [column.tolist() for column in (*self, wanted.value[first])]
        requests = list(map(Request, *columns))
        for k in (after - first > 1).nonzero()[0].tolist():
            later = slice(int(first[k]) + 1, int(after[k]))
            rows = zip(wanted.tick[later].tolist(), wanted.value[later].tolist(), strict=True)
            requests[k].moves = tuple(rows)
        return requests


@dataclass(slots=True)
class Request:
    """One note to be placed; the fields of `Demand`, and what it wants."""

    note: int
    instrument: int
    slot: int
    key: int
    on: int
    off: int
    end: int
    on_tick: int
    end_tick: int
    rested: int
    value: int
    moves: tuple[Move, ...] = ()
    close: float = (
        -1.0
    )  # how far from its tuning it may join others in the first place [steps]; -1: not at all


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
        notes = list(allocator.placed)
        self.lane[notes] = [lane.number for lane, _ in allocator.placed.values()]
        self.start_value[notes] = [value for _, value in allocator.placed.values()]
        self.shared.update(allocator.shared)
        self.cut.update(allocator.cut)


def _never(instrument: int, on: int, end: int) -> bool:
    """No instrument lends its channel."""
    return False


@dataclass(slots=True, kw_only=True)
class Lanes:
    """All channels of one port during allocation: who holds which, and which are free."""

    homes: dict[int, Lane]  # by instrument
    pool: list[Lane]  # held by nobody
    quota: dict[int, int]
    is_clear: Callable[[int, int, int], bool] = (
        _never  # no event on an instrument's channel between two ranks
    )
    mono: frozenset[int] = frozenset()  # instruments in mono mode: the newest note rules their one channel
    private: frozenset[int] = frozenset()  # instruments whose channels no other can take over
    apart: bool = False  # every note on a channel of its own while there are any (MPE)
    more: Callable[[], list[Lane]] | None = None  # opens a further port
    held: dict[int, list[Lane]] = field(init=False)
    further: list[Lane] = field(default_factory=list)  # of further ports, held by nobody

    def __post_init__(self) -> None:
        self.held = {instrument: [lane] for instrument, lane in self.homes.items()}

    def by_number(self) -> dict[int, Lane]:
        """All channels, held or not."""
        held = (lane for lanes in self.held.values() for lane in lanes)
        return {lane.number: lane for lane in (*self.pool, *self.further, *held)}

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
                    if (
                        lane.home != other
                        and lane.number < CHANNELS_PER_PORT
                        and not lane.private
                        and lane.end < on
                        and (best is None or lane.end < best.end)
                    ):
                        best, owner = lane, other
        if best is not None:
            self.held[owner].remove(best)
            self.held[instrument].append(best)
            return best
        if instrument in self.private:  # what it sets up cannot be undone for the owner
            return None
        loans = (
            lane
            for other, lane in self.homes.items()
            if other != instrument and not lane.private and lane.end < on and self.is_clear(other, on, end)
        )
        return min(loans, key=lambda lane: lane.end, default=None)

    def take_further(self, instrument: int) -> Lane | None:
        """A channel of a further port, if those may be used."""
        if self.more is None:
            return None
        if not self.further:
            self.further.extend(self.more())
        lane = self.further.pop(0)
        self.held[instrument].append(lane)
        return lane


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

"""Channels while notes are put on them: what sounds on each, who holds it, and which are free."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from retune.constants import CHANNELS_PER_PORT
from retune.encode.placing.demand import Move, Request


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

"""MPE zones of the input, and data entered in steps, said so that no receiver has to know of either.

The encoders give notes other channels, so a zone of the input could not stay what it is. Its channels become ordinary
ones that sound alike: members get the bend range of the zone in so many words, copies of what the manager gets, and
its bend added to theirs (M1-100-UM v1.1, 2.2.1-2.2.5, 2.3.1, C.1). Steps of the parameters that tune a channel become
the values they lead to.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import ceil

import mido

from retune.constants import (
    BEND_CENTRE,
    BEND_MAX,
    CC_RESET_ALL_CONTROLLERS,
    CHANNELS_PER_PORT,
    PERCUSSION_CHANNEL,
)
from retune.encode import messages as build
from retune.encode.edit import Event, edited
from retune.encode.parameters import BEND_RANGE, STARTS, ChannelState
from retune.encode.relabel import Address, relabel
from retune.encode.timeline import OtherEvent, read_timeline
from retune.score import moved
from retune.score.model import Score
from retune.units import bend_step_cents

MEMBER_RANGE, MANAGER_RANGE = 48, 2  # semitones: M1-100-UM v1.1, 2.2.5
MOST_RANGE = 127
CONFIGURATION = ("rpn", build.RPN_MPE_CONFIGURATION)
LOWER, UPPER = 0, CHANNELS_PER_PORT - 1
_SELECTS = frozenset((build.CC_NRPN_LSB, build.CC_NRPN_MSB, build.CC_RPN_LSB, build.CC_RPN_MSB))
_STEPS = (build.CC_DATA_UP, build.CC_DATA_DOWN)


def dissolved(score: Score) -> tuple[Score, float]:
    """The score without zones and steps, and the largest error [cents] of bends that had to be added up."""
    if not _is_needed(score):
        return score, 0.0
    events = read_timeline(score).others
    moves = _off_channel_10(score, events)
    first = _Sweep(events, moves)
    first.run()
    sweep = _Sweep(events, moves, first.reach_cents)
    sweep.run()
    return relabel(edited(score, sweep.changes), moves), sweep.rounding_cents


def _is_needed(score: Score) -> bool:
    """True if anything steps a parameter, or may configure a zone."""
    return any(
        message.type == "control_change"
        and (
            message.control in _STEPS
            or (message.control == build.CC_RPN_LSB and message.value == build.RPN_MPE_CONFIGURATION[1])
        )
        for track in score.tracks
        for message in track.messages
    )


class _Sweep:
    """One pass over the channel messages in playing order.

    `moves` says where the notes of channel 10 go; where that is their manager's channel, that channel is the
    member's from then on. `reach_cents` is how far the members of each manager bend in all, found by an earlier
    sweep.
    """

    def __init__(
        self,
        events: tuple[OtherEvent, ...],
        moves: dict[Address, Address],
        reach_cents: Mapping[Address, float] | None = None,
    ) -> None:
        self.events = events
        self.stand_in = {to: member for member, to in moves.items() if to[1] in (LOWER, UPPER)}
        self.changes: dict[Event, list[mido.Message]] = {}
        self.states: dict[Address, ChannelState] = {}
        self.zones: dict[Address, int] = {}  # manager -> number of members
        self.room = _room_for_managers(events)
        self.needed = {m: max(MANAGER_RANGE, _semitones(cents)) for m, cents in (reach_cents or {}).items()}
        self.reach_cents: dict[Address, float] = {}
        self.left: set[Address] = set()  # channels that have been members
        self.rounding_cents = 0.0

    def run(self) -> None:
        """Note down the change of every event that needs one."""
        for event in self.events:
            if event.channel < 0:
                self._reset(event)
            elif event.message.type == "control_change":
                self._control(event)
            else:
                self._other(event)

    def _reset(self, event: OtherEvent) -> None:
        """A device reset sets ranges back, those of members to what is written for them."""
        for address, state in self.states.items():
            if address[0] == event.port:
                state.reset()
        ranges = [
            message
            for manager in self.zones
            if manager[0] == event.port
            for member in self.members(manager)
            if self._written(member) != (MANAGER_RANGE, 0)
            for message in self._range(member, MANAGER_RANGE)
        ]
        self._put(event, [event.message, *ranges])

    # --- zones ------------------------------------------------------------------------------------

    def state(self, address: Address) -> ChannelState:
        """What a channel has been told."""
        if address not in self.states:
            self.states[address] = ChannelState()
        return self.states[address]

    def members(self, manager: Address) -> list[Address]:
        """Member channels of a manager's zone, none if it has no zone."""
        port, channel = manager
        count = self.zones.get(manager, 0)
        numbers = range(1, count + 1) if channel == LOWER else range(UPPER - count, UPPER)
        return [(port, number) for number in numbers]

    def manager_of(self, address: Address) -> Address | None:
        """The manager in whose zone a channel is a member."""
        managers = ((address[0], LOWER), (address[0], UPPER))
        return next((manager for manager in managers if address in self.members(manager)), None)

    def _copies(self, event: OtherEvent) -> list[mido.Message]:
        """A message of a manager, and the same for each member."""
        manager = (event.port, event.channel)
        stand_in = self.stand_in.get(manager)
        others = [member for member in self.members(manager) if member != stand_in]
        return [event.message, *(moved(event.message, channel) for _, channel in others)]

    def _configure(self, event: OtherEvent, count: int) -> list[mido.Message]:
        """A zone is made, changed or ended (2.2.1-2.2.3): the channels whose role changes start afresh."""
        port, manager = event.port, (event.port, event.channel)
        everywhere = [(port, channel) for channel in range(CHANNELS_PER_PORT)]
        before = {address: self.manager_of(address) for address in everywhere}
        self.zones[manager] = min(count, UPPER)
        other = (port, UPPER - event.channel)
        if count:
            self.zones[other] = max(0, min(self.zones.get(other, 0), UPPER - 1 - self.zones[manager]))
        messages = self._range(manager, MANAGER_RANGE)
        for address in everywhere:
            now, then = self.manager_of(address), before[address]
            if now == manager:
                messages += self._range(address, MEMBER_RANGE)
            elif now != then:
                messages += self._range(address, MANAGER_RANGE)
            if now != then:
                messages += self._change_role(address, then, now)
        return messages

    def _change_role(self, address: Address, then: Address | None, now: Address | None) -> list[mido.Message]:
        """A channel that joins a zone is set up like its manager, one that leaves it as it was told itself."""
        state = self.state(address)
        messages = []
        if then is not None:
            self.left.add(address)
            messages += state.differences(self.state(then), address[1], back=True)
        if now is not None and (address != self.stand_in.get(now) or address in self.left):
            messages += state.differences(self.state(now), address[1])
        state.value = 0
        return [*messages, self._bend(address)]

    def _range(self, address: Address, msb: int, lsb: int = 0) -> list[mido.Message]:
        """Set the bend range of a channel."""
        state = self.state(address)
        state.set_range(msb, lsb)
        if address in self.stand_in:
            return []  # the channel is a member's
        data = zip((build.CC_DATA_MSB, build.CC_DATA_LSB), self._written(address), strict=True)
        return build.set_parameter(address[1], build.RPN_BEND_RANGE, tuple(data), then=state.selection)

    def _written(self, address: Address) -> tuple[int, int]:
        """Bend range to be written [semitones, cents]: as told, or what a member needs.

        Members need room for the bend of their manager. Where they are told more than twice what they ever use,
        and in a zone the standard tells them 48, they get that: the steps are finer, and some receivers stop at 24
        (TiMidity++ 2.14.0, measured).
        """
        state, manager = self.state(address), self.manager_of(address)
        if manager is None:
            return state.msb, state.lsb
        room, needed = self.room.get(manager, 0), self.needed.get(manager)
        if needed is None:
            return min(state.msb + room, MOST_RANGE), state.lsb
        return (needed, 0) if room or 2 * needed < state.msb else (state.msb, state.lsb)

    def _bend(self, address: Address) -> mido.Message:
        """Bend of a channel, that of its manager added."""
        state, manager = self.state(address), self.manager_of(address)
        semitones, cents = self._written(address)
        step_cents = bend_step_cents(1) * (semitones + cents / 100.0)
        if manager is None or not step_cents:  # a range of nothing bends nothing, whatever the value
            return build.bend(address[1], BEND_CENTRE + state.value)
        total = state.cents + self.state(manager).cents
        self.reach_cents[manager] = max(self.reach_cents.get(manager, 0.0), abs(total))
        exact = total / step_cents
        value = min(max(BEND_CENTRE + round(exact), 0), BEND_MAX)
        error = abs(value - BEND_CENTRE - exact) * step_cents
        self.rounding_cents = max(self.rounding_cents, error)
        return build.bend(address[1], value)

    def _bends(self, manager: Address) -> list[mido.Message]:
        """Bends of all members, after a change of the manager's."""
        return [self._bend(member) for member in self.members(manager)] if self.room.get(manager) else []

    # --- events -----------------------------------------------------------------------------------

    def _control(self, event: OtherEvent) -> None:
        address, number = (event.port, event.channel), event.message.control
        state = self.state(address)
        if number in build.DATA_ENTRY:
            self._data_entry(event, address, state)
            return
        state.take(event)
        if number in _SELECTS:
            return
        messages = self._copies(event)
        if number == CC_RESET_ALL_CONTROLLERS:
            messages += self._bends(address)
            if self.manager_of(address) is not None:
                messages.append(self._bend(address))
        self._put(event, messages)

    def _data_entry(self, event: OtherEvent, address: Address, state: ChannelState) -> None:
        number, selection, manager = event.message.control, state.selection, self.manager_of(address)
        if selection == CONFIGURATION and event.channel in (LOWER, UPPER):
            first = number == build.CC_DATA_MSB
            self._put(event, self._configure(event, event.message.value) if first else [])
            return
        state.take(event)
        if selection == BEND_RANGE and manager is not None:
            zone = self.members(manager)  # one range for all members (2.2.5)
            self._put(
                event,
                [m for member in zone for m in self._range(member, state.msb, state.lsb)]
                + self._bends(manager),
            )
        elif selection == BEND_RANGE and address in self.stand_in:
            self._put(event, self._bends(address))
        elif selection in STARTS:
            messages = [event.message]
            if number in _STEPS:
                pairs = zip((build.CC_DATA_MSB, build.CC_DATA_LSB), state.values[selection], strict=True)
                messages = [build.control(event.channel, *pair) for pair in pairs]
            self._put(event, messages + (self._bends(address) if selection == BEND_RANGE else []))
        elif selection[1] != build.RPN_NULL:
            self._put(event, [event.message, *self._parameter_copies(event, address, state)])

    def _parameter_copies(
        self, event: OtherEvent, manager: Address, state: ChannelState
    ) -> list[mido.Message]:
        kind, number = state.selection
        data = ((event.message.control, event.message.value),)
        return [
            message
            for member in self.members(manager)
            if member != self.stand_in.get(manager)
            for message in build.set_parameter(
                member[1], number, data, kind=kind, then=self.state(member).selection
            )
        ]

    def _other(self, event: OtherEvent) -> None:
        address, kind = (event.port, event.channel), event.message.type
        self.state(address).take(event)
        if kind == "pitchwheel":
            own = self._bend(address) if self.manager_of(address) else event.message
            mine = [] if address in self.stand_in else [own]
            self._put(event, [*mine, *self._bends(address)])
        elif kind in ("program_change", "aftertouch"):
            self._put(event, self._copies(event))

    def _put(self, event: OtherEvent, messages: list[mido.Message]) -> None:
        if messages != [event.message]:
            self.changes[event.track, event.index] = messages


def _room_for_managers(events: tuple[OtherEvent, ...]) -> dict[Address, int]:
    """How far each manager channel ever bends [semitones, rounded up]; channels that never bend are left out."""
    states: dict[Address, ChannelState] = {}
    most: dict[Address, float] = {}
    for event in events:
        if event.channel not in (LOWER, UPPER):
            continue
        address = (event.port, event.channel)
        state = states.setdefault(address, ChannelState())
        state.take(event)
        if state.value:
            most[address] = max(most.get(address, 0.0), abs(state.cents))
    return {address: _semitones(cents) for address, cents in most.items()}


def _semitones(cents: float) -> int:
    """The range that reaches so far up: 8191 of 8192 steps (MIDI 1.0 Detailed Specification 4.2.1 p. 19)."""
    return ceil(cents / 100.0 * BEND_CENTRE / (BEND_CENTRE - 1) - 1e-9)


def _off_channel_10(score: Score, events: tuple[OtherEvent, ...]) -> dict[Address, Address]:
    """Where the pitched notes of members on channel 10 go: outside a zone they would be drums (GM1 p. 2).

    To the manager's channel, which needs no messages of its own once the members have copies; or, if that has
    notes, to a channel that nothing uses.
    """
    playing = {(part.port, part.channel) for part in score.parts}
    used = playing | {(event.port, event.channel) for event in events}
    moves = {}
    for part in score.parts:
        manager = _manager_of_channel_10(events, part.port)
        if part.channel == PERCUSSION_CHANNEL and not part.is_percussion and manager is not None:
            free = [c for c in range(CHANNELS_PER_PORT) if (part.port, c) not in used | {(part.port, 9)}]
            if (part.port, manager) not in playing:
                moves[part.port, part.channel] = (part.port, manager)
            elif free:
                moves[part.port, part.channel] = (part.port, free[0])
    return moves


def _manager_of_channel_10(events: tuple[OtherEvent, ...], port: int) -> int | None:
    """The manager channel whose zone ever holds channel 10."""
    states = {LOWER: ChannelState(), UPPER: ChannelState()}
    for event in events:
        if event.port != port or event.channel not in states or event.message.type != "control_change":
            continue
        state = states[event.channel]
        if event.message.control == build.CC_DATA_MSB and state.selection == CONFIGURATION:
            reach = PERCUSSION_CHANNEL if event.channel == LOWER else UPPER - PERCUSSION_CHANNEL
            if event.message.value >= reach:
                return event.channel
        state.take(event)
    return None

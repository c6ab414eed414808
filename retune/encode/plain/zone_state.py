"""What holds for each channel of MPE zones, and the messages that bring other channels to it.

Section numbers: M1-100-UM v1.1.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from math import ceil

import mido

from retune.constants import (
    BANK_CONTROLLERS,
    BEND_CENTRE,
    BEND_MAX,
    CC_DATA_LSB,
    CC_DATA_MSB,
    MOST_BEND_RANGE_SEMITONES,
    MPE_MANAGER_RANGE_SEMITONES,
)
from retune.encode import messages as build
from retune.encode.plain.relabel import Address
from retune.encode.survey.instruments import Selection
from retune.encode.survey.parameters import BEND_RANGE, PRESSURE, STARTS, ChannelState
from retune.encode.survey.timeline import OtherEvent
from retune.score.zones import LOWER, UPPER, Zones
from retune.units import bend_step_cents


class ZoneState:
    """What every channel has been told so far, and what holds for it in its zone.

    `told` is what each channel of the input has been told, `written` what the channel of the output that plays it
    has been: the two differ by what zones do, which is followed for the channels that have notes (`playing`).
    `moves` says where the notes of channel 10 go; where that is their manager's channel, that channel is the
    member's from then on. `room` is how far the managers bend [semitones], `reach_cents` how far the members of each
    bend in all, found by an earlier sweep.
    """

    def __init__(
        self,
        room: dict[Address, int],
        moves: dict[Address, Address],
        playing: frozenset[Address],
        reach_cents: Mapping[Address, float] | None = None,
    ) -> None:
        self.room, self.moves, self.playing = room, moves, playing
        self.stand_in = {to: member for member, to in moves.items() if to[1] in (LOWER, UPPER)}
        self.told: defaultdict[Address, ChannelState] = defaultdict(ChannelState)
        self.written: defaultdict[Address, ChannelState] = defaultdict(ChannelState)
        self.zones: dict[int, Zones] = {}  # by port
        self.needed = {
            m: max(MPE_MANAGER_RANGE_SEMITONES, _semitones(cents)) for m, cents in (reach_cents or {}).items()
        }
        self.reach_cents: dict[Address, float] = {}
        self.rounding_cents = 0.0
        self.rank = 0

    def state(self, address: Address) -> ChannelState:
        """What a channel of the input has been told."""
        return self.told[address]

    def output(self, address: Address) -> ChannelState:
        """What the channel that plays this one has been told."""
        return self.written[self.moves.get(address, address)]

    def manager_of(self, address: Address) -> Address | None:
        """The manager in whose zone a channel is a member."""
        zones = self.zones.get(address[0])
        manager = None if zones is None else zones.manager_of(address[1])
        return None if manager is None else (address[0], manager)

    def members(self, manager: Address) -> list[Address]:
        """Member channels of a manager's zone, none if it has no zone."""
        zones = self.zones.get(manager[0])
        if zones is None or manager[1] not in (LOWER, UPPER):
            return []
        return [(manager[0], channel) for channel in zones.members(manager[1])]

    def players(self, manager: Address) -> list[Address]:
        """Members that have notes."""
        return [member for member in self.members(manager) if member in self.playing]

    def concerned(self, address: Address) -> list[Address]:
        """Channels with notes for which something may hold that this one is told."""
        own = self.stand_in.get(address, address)
        return list(dict.fromkeys((*([own] if own in self.playing else ()), *self.players(address))))

    def say(self, address: Address, messages: Iterable[mido.Message]) -> list[mido.Message]:
        """Messages for the channel that plays an address, which is from now on as they say."""
        state, said = self.output(address), list(messages)
        for message in said:
            state.take(message, self.rank)
        return said

    def agree(self, lane: Address) -> list[mido.Message]:
        """Bring the channel that plays `lane` to what holds for it, whatever that takes."""
        own, manager = self.state(lane), self.manager_of(lane)
        others = (self.state(manager),) if manager else ()
        written = self.output(lane)
        numbers = dict.fromkeys(n for state in (*others, own, written) for n in state.settings)
        messages = self.agree_on_program(lane)
        for number in numbers:
            messages += self.agree_on_setting(lane, number)
        return [
            *messages,
            *self.agree_on_tuning(lane),
            *self.agree_on_range(lane),
            *self.agree_on_bend(lane),
        ]

    def agree_on_program(self, lane: Address) -> list[mido.Message]:
        """The program of the manager, if it has been told one (2.3.3)."""
        manager = self.manager_of(lane)
        wanted = (self.state(manager).program if manager else None) or self.state(lane).program
        if wanted == self.output(lane).program:
            return []
        wanted = wanted or (0, 0, 0)
        banks = [build.control(lane[1], *pair) for pair in zip(BANK_CONTROLLERS, wanted[:2], strict=True)]
        return self.say(lane, [*banks, build.program(lane[1], wanted[2])])

    def agree_on_setting(self, lane: Address, number: int) -> list[mido.Message]:
        """Controllers and pressure: of manager and member the one that was told later."""
        state, manager = self.state(lane), self.manager_of(lane)
        if manager is not None:
            of_zone = self.state(manager)
            if of_zone.settings.get(number, (-1, 0))[0] > state.settings.get(number, (-1, 0))[0]:
                state = of_zone
        value = state.setting(number)
        if value == self.output(lane).setting(number):
            return []
        is_pressure = number == PRESSURE
        message = build.pressure(lane[1], value) if is_pressure else build.control(lane[1], number, value)
        return self.say(lane, [message])

    def parameter(
        self, lane: Address, selection: Selection, data: tuple[tuple[int, int], ...]
    ) -> list[mido.Message]:
        """One parameter set as an unbroken group, closed by the selection that the channel's events rely on."""
        kind, number = selection
        return build.set_parameter(lane[1], number, data, kind=kind, then=self.state(lane).selection)

    def agree_on_tuning(self, lane: Address) -> list[mido.Message]:
        """Fine and coarse tuning are each channel's own."""
        return [
            message
            for selection in STARTS
            if selection != BEND_RANGE
            and self.state(lane).values[selection] != self.output(lane).values[selection]
            for message in self._set_value(lane, selection, self.state(lane).values[selection])
        ]

    def _set_value(self, lane: Address, selection: Selection, value: tuple[int, int]) -> list[mido.Message]:
        numbers = (CC_DATA_MSB, CC_DATA_LSB)
        return self.say(lane, self.parameter(lane, selection, tuple(zip(numbers, value, strict=True))))

    def agree_on_range(self, lane: Address) -> list[mido.Message]:
        """The bend range to be written: as told, or what a member needs.

        Members need room for the bend of their manager. Where they are told more than twice what they ever use,
        and in a zone the standard tells them 48, they get that: the steps are finer, and some receivers stop at 24
        (TiMidity++ 2.14.0, measured).
        """
        state, manager = self.state(lane), self.manager_of(lane)
        wanted = (state.msb, state.lsb)
        if manager is not None:
            room, needed = self.room.get(manager, 0), self.needed.get(manager)
            if needed is None:
                wanted = (min(state.msb + room, MOST_BEND_RANGE_SEMITONES), state.lsb)
            elif room or 2 * needed < state.msb:
                wanted = (needed, 0)
        return (
            []
            if wanted == self.output(lane).values[BEND_RANGE]
            else self._set_value(lane, BEND_RANGE, wanted)
        )

    def agree_on_bend(self, lane: Address) -> list[mido.Message]:
        """The bend of a channel, that of its manager added."""
        state, manager, written = self.state(lane), self.manager_of(lane), self.output(lane)
        step_cents = bend_step_cents(1) * written.range_semitones
        value = state.value
        if manager is not None and step_cents:  # a range of nothing bends nothing, whatever the value
            total = state.cents + self.state(manager).cents
            self.reach_cents[manager] = max(self.reach_cents.get(manager, 0.0), abs(total))
            exact = total / step_cents
            value = min(max(round(exact), -BEND_CENTRE), BEND_MAX - BEND_CENTRE)
            self.rounding_cents = max(self.rounding_cents, abs(value - exact) * step_cents)
        return [] if value == written.value else self.say(lane, [build.bend(lane[1], BEND_CENTRE + value)])


def room_for_managers(events: tuple[OtherEvent, ...]) -> dict[Address, int]:
    """How far each manager channel ever bends [semitones, rounded up]; channels that never bend are left out."""
    states: defaultdict[Address, ChannelState] = defaultdict(ChannelState)
    most: dict[Address, float] = {}
    for event in events:
        if event.channel not in (LOWER, UPPER):
            continue
        address = (event.port, event.channel)
        state = states[address]
        state.take(event.message, event.rank)
        if state.value:
            most[address] = max(most.get(address, 0.0), abs(state.cents))
    return {address: _semitones(cents) for address, cents in most.items()}


def _semitones(cents: float) -> int:
    """The range that reaches so far up: 8191 of 8192 steps (MIDI 1.0 Detailed Specification 4.2.1 p. 19)."""
    return ceil(cents / 100.0 * BEND_CENTRE / (BEND_CENTRE - 1) - 1e-9)

"""MPE zones of the input, and data entered in steps, said so that no receiver has to know of either.

The encoders give notes other channels, so a zone of the input could not stay what it is. Its channels become ordinary
ones that sound alike: whatever a channel is told, those that it concerns are brought to what holds for them in their
zone (M1-100-UM v1.1, 2.2.1-2.2.5, 2.3.1, 2.3.3, C.1). Steps of the parameters that tune a channel become the values
they lead to.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from math import ceil

import mido
import numpy as np

from retune.constants import (
    BANK_CONTROLLERS,
    BEND_CENTRE,
    BEND_MAX,
    CC_DATA_DECREMENT,
    CC_DATA_INCREMENT,
    CC_DATA_LSB,
    CC_DATA_MSB,
    CC_RESET_ALL_CONTROLLERS,
    CC_RPN_LSB,
    DATA_CONTROLLERS,
    MOST_BEND_RANGE_SEMITONES,
    MPE_MANAGER_RANGE_SEMITONES,
    MPE_MEMBER_RANGE_SEMITONES,
    PERCUSSION_CHANNEL,
    RPN_MPE_CONFIGURATION,
    RPN_TUNING_BANK,
    RPN_TUNING_PROGRAM,
    SELECTING_CONTROLLERS,
)
from retune.encode import messages as build
from retune.encode.edit import Event, edited
from retune.encode.instruments import Selection
from retune.encode.lines import PRESSURE
from retune.encode.parameters import BEND_RANGE, STARTS, ChannelState
from retune.encode.relabel import Address, relabel
from retune.encode.timeline import OtherEvent, Timeline, read_timeline
from retune.errors import InputError
from retune.score import moved
from retune.score.model import Score
from retune.score.zones import LOWER, UPPER, Zones
from retune.units import bend_step_cents

CONFIGURATION = ("rpn", RPN_MPE_CONFIGURATION)
_STEPS = (CC_DATA_INCREMENT, CC_DATA_DECREMENT)
_OF_ONE_CHANNEL = frozenset((*STARTS, ("rpn", RPN_TUNING_PROGRAM), ("rpn", RPN_TUNING_BANK)))
"""Parameters of a manager that are not its members'."""
_FOR_THE_ZONE = frozenset((120, 123, 124, 125, 126, 127))
"""Mode messages, which a manager gets for its zone: 2.3.1."""


def dissolved(score: Score) -> tuple[Score, float]:
    """The score without zones and steps, and the largest error [cents] of bends that had to be added up.

    Raises `InputError` if a member on channel 10, a drum channel without a zone, finds no other channel, or is drums
    at other times.
    """
    if not _is_needed(score):
        return score, 0.0
    timeline = read_timeline(score)
    events, moves = timeline.others, _off_channel_10(score, timeline)
    playing = frozenset((part.port, part.channel) for part in score.parts)
    first = _Sweep(events, moves, playing)
    first.run()
    sweep = _Sweep(events, moves, playing, first.reach_cents)
    sweep.run()
    return relabel(edited(score, sweep.changes), moves), sweep.rounding_cents


def _is_needed(score: Score) -> bool:
    """True if anything steps a parameter, or may configure a zone."""
    return any(
        message.type == "control_change"
        and (
            message.control in _STEPS
            or (message.control == CC_RPN_LSB and message.value == RPN_MPE_CONFIGURATION[1])
        )
        for message in score.different_messages
    )


class _Sweep:
    """One pass over the channel messages in playing order.

    `told` is what each channel of the input has been told, `written` what the channel of the output that plays it
    has been: the two differ by what zones do, which is followed for the channels that have notes (`playing`).
    `moves` says where the notes of channel 10 go; where that is their manager's channel, that channel is the
    member's from then on. `reach_cents` is how far the members of each manager bend in all, found by an earlier
    sweep.
    """

    def __init__(
        self,
        events: tuple[OtherEvent, ...],
        moves: dict[Address, Address],
        playing: frozenset[Address],
        reach_cents: Mapping[Address, float] | None = None,
    ) -> None:
        self.events, self.moves, self.playing = events, moves, playing
        self.stand_in = {to: member for member, to in moves.items() if to[1] in (LOWER, UPPER)}
        self.changes: dict[Event, list[mido.Message]] = {}
        self.told: defaultdict[Address, ChannelState] = defaultdict(ChannelState)
        self.written: defaultdict[Address, ChannelState] = defaultdict(ChannelState)
        self.zones: dict[int, Zones] = {}  # by port
        self.room = _room_for_managers(events)
        self.needed = {
            m: max(MPE_MANAGER_RANGE_SEMITONES, _semitones(cents)) for m, cents in (reach_cents or {}).items()
        }
        self.reach_cents: dict[Address, float] = {}
        self.rounding_cents = 0.0
        self.rank = 0

    def run(self) -> None:
        """Note down the change of every event that needs one."""
        for event in self.events:
            self.rank = event.rank
            messages = self._reset(event) if event.channel < 0 else self._take(event)
            if messages != [event.message]:
                self.changes[event.track, event.index] = messages

    # --- channels ---------------------------------------------------------------------------------

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

    # --- events -----------------------------------------------------------------------------------

    def _reset(self, event: OtherEvent) -> list[mido.Message]:
        """A device reset: everything is at its start, but for what zones still ask for."""
        for states in (self.told, self.written):
            for address, state in states.items():
                if address[0] == event.port:
                    state.reset()
        members = [m for manager in (LOWER, UPPER) for m in self.players((event.port, manager))]
        return [event.message, *(m for member in members for m in self._agree(member))]

    def _take(self, event: OtherEvent) -> list[mido.Message]:
        """A channel message, and what follows from it for the channels it concerns."""
        message, address = event.message, (event.port, event.channel)
        state = self.state(address)
        is_control = message.type == "control_change"
        if is_control and message.control in DATA_CONTROLLERS:
            return self._data_entry(event, address, state)
        state.take(message, event.rank)
        if is_control and message.control in SELECTING_CONTROLLERS:
            return [] if address in self.stand_in else self.say(address, [message])
        if message.type == "pitchwheel":
            is_plain = self.manager_of(address) is None and address not in self.stand_in
            messages = self.say(address, [message]) if is_plain else []
            return messages + [m for lane in self.concerned(address) for m in self._agree_on_bend(lane)]
        if message.type in ("note_on", "note_off"):  # a release too many, which might end a member's note
            return [] if address in self.stand_in else [message]
        messages = self.say(self.stand_in.get(address, address), [message])
        if message.type == "program_change":
            return messages + [m for lane in self.concerned(address) for m in self._agree_on_program(lane)]
        if message.type == "aftertouch":
            return messages + self._agree_on_settings(address, (PRESSURE,))
        if is_control and message.control in _FOR_THE_ZONE:
            others = [lane for lane in self.players(address) if lane != self.stand_in.get(address)]
            return messages + [moved(message, channel) for _, channel in others]
        if is_control and message.control == CC_RESET_ALL_CONTROLLERS:
            messages += self._agree_on_settings(address, tuple(state.settings))
            return messages + [m for lane in self.concerned(address) for m in self._agree_on_bend(lane)]
        if is_control and message.control in state.settings:
            messages += self._agree_on_settings(address, (message.control,))
        return messages

    def _agree_on_settings(self, address: Address, numbers: Iterable[int]) -> list[mido.Message]:
        lanes = self.concerned(address)
        return [m for lane in lanes for number in numbers for m in self._agree_on_setting(lane, number)]

    def _data_entry(self, event: OtherEvent, address: Address, state: ChannelState) -> list[mido.Message]:
        message, selection, manager = event.message, state.selection, self.manager_of(address)
        if selection == CONFIGURATION:  # on other channels it does nothing, and they may get these numbers
            is_heard = event.channel in (LOWER, UPPER) and message.control == CC_DATA_MSB
            return self._configure(address, message.value) if is_heard else []
        state.take(message, event.rank)
        if not build.is_chosen(selection):
            return [] if address in self.stand_in else [message]
        if selection == BEND_RANGE and (manager is not None or address in self.stand_in):
            lanes = self.concerned(address) if manager is None else self.players(manager)
            for member in self.members(manager) if manager is not None else ():  # one range for all (2.2.5)
                self.state(member).set_range(state.msb, state.lsb)
            return [m for lane in lanes for agree in _RANGE_AND_BEND for m in agree(self, lane)]
        messages = self._entered(event, address, state)
        if selection == BEND_RANGE:
            return messages + [m for lane in self.players(address) for m in self._agree_on_bend(lane)]
        if selection in _OF_ONE_CHANNEL:
            stand_in = self.stand_in.get(address)
            return messages + (self._agree_on_tuning(stand_in) if stand_in else [])
        for lane in self.players(address):
            if lane != self.stand_in.get(address):
                messages += self.say(
                    lane, self._parameter(lane, selection, ((message.control, message.value),))
                )
        return messages

    def _entered(self, event: OtherEvent, address: Address, state: ChannelState) -> list[mido.Message]:
        """Data entry as it came, steps of what tunes a channel as the value they lead to."""
        data = [(event.message.control, event.message.value)]
        if state.selection in STARTS and event.message.control in _STEPS:
            numbers = (CC_DATA_MSB, CC_DATA_LSB)
            data = list(zip(numbers, state.values[state.selection], strict=True))
        member = self.stand_in.get(address)
        if member is not None:  # whose selection the channel has
            group = self._parameter(member, state.selection, tuple(data))
            return self.say(member, [moved(message, event.channel) for message in group])
        return self.say(address, [build.control(event.channel, *pair) for pair in data])

    def _configure(self, manager: Address, count: int) -> list[mido.Message]:
        """A zone is made, changed or ended: the channels whose role changes start afresh (2.2.3, 2.2.5)."""
        port = manager[0]
        zones = self.zones.setdefault(port, Zones())
        everywhere = [(port, channel) for channel in range(UPPER + 1)]
        before = {address: self.manager_of(address) for address in everywhere}
        zones.configure(manager[1], count)
        self.state(manager).set_range(MPE_MANAGER_RANGE_SEMITONES)
        for address in everywhere:
            now = self.manager_of(address)
            if now != before[address]:
                self.state(address).set_range(MPE_MANAGER_RANGE_SEMITONES)
                self.state(address).value = 0
            if now == manager:
                self.state(address).set_range(MPE_MEMBER_RANGE_SEMITONES)
        return [m for address in everywhere if address in self.playing for m in self._agree(address)]

    # --- what holds in zones ----------------------------------------------------------------------

    def _agree(self, lane: Address) -> list[mido.Message]:
        """Bring the channel that plays `lane` to what holds for it, whatever that takes."""
        own, manager = self.state(lane), self.manager_of(lane)
        others = (self.state(manager),) if manager else ()
        written = self.output(lane)
        numbers = dict.fromkeys(n for state in (*others, own, written) for n in state.settings)
        messages = self._agree_on_program(lane)
        for number in numbers:
            messages += self._agree_on_setting(lane, number)
        return [
            *messages,
            *self._agree_on_tuning(lane),
            *self._agree_on_range(lane),
            *self._agree_on_bend(lane),
        ]

    def _agree_on_program(self, lane: Address) -> list[mido.Message]:
        """The program of the manager, if it has been told one (2.3.3)."""
        manager = self.manager_of(lane)
        wanted = (self.state(manager).program if manager else None) or self.state(lane).program
        if wanted == self.output(lane).program:
            return []
        wanted = wanted or (0, 0, 0)
        banks = [build.control(lane[1], *pair) for pair in zip(BANK_CONTROLLERS, wanted[:2], strict=True)]
        return self.say(lane, [*banks, build.program(lane[1], wanted[2])])

    def _agree_on_setting(self, lane: Address, number: int) -> list[mido.Message]:
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

    def _parameter(
        self, lane: Address, selection: Selection, data: tuple[tuple[int, int], ...]
    ) -> list[mido.Message]:
        kind, number = selection
        return build.set_parameter(lane[1], number, data, kind=kind, then=self.state(lane).selection)

    def _agree_on_tuning(self, lane: Address) -> list[mido.Message]:
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
        return self.say(lane, self._parameter(lane, selection, tuple(zip(numbers, value, strict=True))))

    def _agree_on_range(self, lane: Address) -> list[mido.Message]:
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

    def _agree_on_bend(self, lane: Address) -> list[mido.Message]:
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


_RANGE_AND_BEND = (_Sweep._agree_on_range, _Sweep._agree_on_bend)


def _room_for_managers(events: tuple[OtherEvent, ...]) -> dict[Address, int]:
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


def _off_channel_10(score: Score, timeline: Timeline) -> dict[Address, Address]:
    """Where the pitched notes of members on channel 10 go: outside a zone they would be drums (GM1 p. 2).

    To their manager's channel, which needs no messages of its own once the members have copies; or, if that has
    notes, to a channel that nothing uses.
    """
    playing = {(part.port, part.channel) for part in score.parts}
    used = playing | {(event.port, event.channel) for event in timeline.others}
    ports = {part.port for part in score.parts if part.channel == PERCUSSION_CHANNEL}
    changes_of = {port: _managers_of_channel_10(timeline.others, port) for port in ports}
    moves = {}
    for part in score.parts:
        changes = changes_of[part.port] if part.channel == PERCUSSION_CHANNEL else []
        managers = [manager for _, manager in changes if manager is not None]
        if not managers:
            continue
        mine = np.flatnonzero(score.notes["part"] == part.index)
        ends = 2 * np.searchsorted(timeline.sorted_ticks, score.notes["onset_tick"][mine], side="right")
        at = np.searchsorted([rank for rank, _ in changes], ends) - 1  # set-up of a tick counts for its notes
        inside = np.array([manager is not None for _, manager in changes] + [False])[
            at
        ]  # -1: before all changes
        if inside.any() and (part.is_percussion or not inside.all()):
            where = score.where(int(score.notes["onset_tick"][mine[int(np.argmin(inside))]]))
            raise InputError(f"{where}: {part.name} {_DRUMS_AND_MEMBER}")
        free = [c for c in range(UPPER + 1) if (part.port, c) not in used | {(part.port, PERCUSSION_CHANNEL)}]
        possible = [m for m in managers if (part.port, m) not in playing] + free
        if inside.any() and not possible:
            raise InputError(f"{part.name}: {_NO_ROOM}")
        if inside.any():
            moves[part.port, part.channel] = (part.port, possible[0])
    return moves


_DRUMS_AND_MEMBER = (
    "is drums on channel 10 and a member of an MPE zone by turns, which no file without zones can say; "
    "put the drums or the zone on another port, or take channel 10 out of the zone"
)
_NO_ROOM = (
    "channel 10 is a member of an MPE zone, outside of which it plays drums, and no other channel is free for its "
    "notes; take channel 10 out of the zone, or give its notes to other channels"
)


def _managers_of_channel_10(events: tuple[OtherEvent, ...], port: int) -> list[tuple[int, int | None]]:
    """(rank, manager) wherever channel 10 joins or leaves a zone."""
    states = {LOWER: ChannelState(), UPPER: ChannelState()}
    found: list[tuple[int, int | None]] = []
    zones = Zones()
    for event in events:
        if event.port != port or event.channel not in states or event.message.type != "control_change":
            continue
        state = states[event.channel]
        if event.message.control == CC_DATA_MSB and state.selection == CONFIGURATION:
            zones.configure(event.channel, event.message.value)
            found.append((event.rank, zones.manager_of(PERCUSSION_CHANNEL)))
        state.take(event.message, event.rank)
    return found

"""MPE zones of the input, and data entered in steps, said so that no receiver has to know of either.

The encoders give notes other channels, so a zone of the input could not stay what it is. Its channels become ordinary
ones that sound alike: whatever a channel is told, those that it concerns are brought to what holds for them in their
zone (M1-100-UM v1.1, 2.2.1-2.2.5, 2.3.1, 2.3.3, C.1). Steps of the parameters that tune a channel become the values
they lead to.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import mido

from retune.constants import (
    CC_DATA_DECREMENT,
    CC_DATA_INCREMENT,
    CC_DATA_LSB,
    CC_DATA_MSB,
    CC_RESET_ALL_CONTROLLERS,
    CC_RPN_LSB,
    DATA_CONTROLLERS,
    MPE_MANAGER_RANGE_SEMITONES,
    MPE_MEMBER_RANGE_SEMITONES,
    RPN_MPE_CONFIGURATION,
    RPN_TUNING_BANK,
    RPN_TUNING_PROGRAM,
    SELECTING_CONTROLLERS,
)
from retune.encode import messages as build
from retune.encode.plain.channel_10 import off_channel_10
from retune.encode.plain.edit import Event, edited
from retune.encode.plain.relabel import Address, relabel
from retune.encode.plain.zone_state import ZoneState, room_for_managers
from retune.encode.survey.parameters import BEND_RANGE, CONFIGURATION, PRESSURE, STARTS, ChannelState
from retune.encode.survey.timeline import OtherEvent, read_timeline
from retune.score import moved
from retune.score.model import Score
from retune.score.zones import LOWER, UPPER, Zones

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
    events, moves = timeline.others, off_channel_10(score, timeline)
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


class _Sweep(ZoneState):
    """One pass over the channel messages in playing order."""

    def __init__(
        self,
        events: tuple[OtherEvent, ...],
        moves: dict[Address, Address],
        playing: frozenset[Address],
        reach_cents: Mapping[Address, float] | None = None,
    ) -> None:
        """As in `ZoneState`; `events` in playing order."""
        super().__init__(room_for_managers(events), moves, playing, reach_cents)
        self.events = events
        self.changes: dict[Event, list[mido.Message]] = {}

    def run(self) -> None:
        """Note down the change of every event that needs one."""
        for event in self.events:
            self.rank = event.rank
            messages = self._reset(event) if event.channel < 0 else self._take(event)
            if messages != [event.message]:
                self.changes[event.track, event.index] = messages

    def _reset(self, event: OtherEvent) -> list[mido.Message]:
        """A device reset: everything is at its start, but for what zones still ask for."""
        for states in (self.told, self.written):
            for address, state in states.items():
                if address[0] == event.port:
                    state.reset()
        members = [m for manager in (LOWER, UPPER) for m in self.players((event.port, manager))]
        return [event.message, *(m for member in members for m in self.agree(member))]

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
            return messages + [m for lane in self.concerned(address) for m in self.agree_on_bend(lane)]
        if message.type in ("note_on", "note_off"):  # a release too many, which might end a member's note
            return [] if address in self.stand_in else [message]
        messages = self.say(self.stand_in.get(address, address), [message])
        if message.type == "program_change":
            return messages + [m for lane in self.concerned(address) for m in self.agree_on_program(lane)]
        if message.type == "aftertouch":
            return messages + self._agree_on_settings(address, (PRESSURE,))
        if is_control and message.control in _FOR_THE_ZONE:
            others = [lane for lane in self.players(address) if lane != self.stand_in.get(address)]
            return messages + [moved(message, channel) for _, channel in others]
        if is_control and message.control == CC_RESET_ALL_CONTROLLERS:
            messages += self._agree_on_settings(address, tuple(state.settings))
            return messages + [m for lane in self.concerned(address) for m in self.agree_on_bend(lane)]
        if is_control and message.control in state.settings:
            messages += self._agree_on_settings(address, (message.control,))
        return messages

    def _agree_on_settings(self, address: Address, numbers: Iterable[int]) -> list[mido.Message]:
        lanes = self.concerned(address)
        return [m for lane in lanes for number in numbers for m in self.agree_on_setting(lane, number)]

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
            return [m for lane in lanes for m in (*self.agree_on_range(lane), *self.agree_on_bend(lane))]
        messages = self._entered(event, address, state)
        if selection == BEND_RANGE:
            return messages + [m for lane in self.players(address) for m in self.agree_on_bend(lane)]
        if selection in _OF_ONE_CHANNEL:
            stand_in = self.stand_in.get(address)
            return messages + (self.agree_on_tuning(stand_in) if stand_in else [])
        for lane in self.players(address):
            if lane != self.stand_in.get(address):
                messages += self.say(
                    lane, self.parameter(lane, selection, ((message.control, message.value),))
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
            group = self.parameter(member, state.selection, tuple(data))
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
        return [m for address in everywhere if address in self.playing for m in self.agree(address)]

"""Instruments: parts that share a channel of the input, and so programs, controllers, pedals, bends."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from retune.constants import (
    BEND_CENTRE,
    CC_DATA_LSB,
    CC_DATA_MSB,
    CC_MONO_ON,
    CC_NRPN_LSB,
    CC_NRPN_MSB,
    CC_POLY_ON,
    CC_RESET_ALL_CONTROLLERS,
    CC_RPN_LSB,
    CC_RPN_MSB,
    DATA_CONTROLLERS,
    DEFAULT_BEND_RANGE_SEMITONES,
    RPN_BEND_RANGE,
    RPN_NULL,
)
from retune.encode.messages import is_chosen
from retune.encode.survey.timeline import OtherEvent
from retune.errors import OptionError
from retune.score.model import IntArray, Score

Selection = tuple[str, tuple[int, int]]
"""A selected parameter: "rpn" or "nrpn", and its number (MSB, LSB)."""

NO_SELECTION: Selection = ("rpn", RPN_NULL)


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """One channel of the input. `parts` is empty for a channel that has events but no notes."""

    index: int
    port: int
    channel: int
    parts: tuple[int, ...]
    is_percussion: bool
    name: str


def find_instruments(score: Score, others: Iterable[OtherEvent]) -> tuple[tuple[Instrument, ...], IntArray]:
    """All instruments ordered by port and channel, and the instrument of each part."""
    parts_of: dict[tuple[int, int], list[int]] = {}
    for part in score.parts:
        parts_of.setdefault((part.port, part.channel), []).append(part.index)
    for event in others:
        if event.channel >= 0:
            parts_of.setdefault((event.port, event.channel), [])
    instruments = []
    of_part = np.zeros(len(score.parts), np.int64)
    for index, ((port, channel), members) in enumerate(sorted(parts_of.items())):
        drums = any(score.parts[p].is_percussion for p in members)
        name = " + ".join(dict.fromkeys(score.parts[p].name for p in members))
        instruments.append(
            Instrument(
                index=index,
                port=port,
                channel=channel,
                parts=tuple(members),
                is_percussion=drums,
                name=name or f"channel {channel + 1}",
            )
        )
        of_part[members] = index
    return tuple(instruments), of_part


def refused_kit(channel: int, follows: str) -> OptionError:
    """The error for a channel that a GS message makes a drum kit: its drums can go to no other channel."""
    return OptionError(
        f"a message of the file makes channel {channel + 1} a drum kit, which {follows}; "
        "put the drums on channel 10, or use --encoding midi2"
    )


KNOWN_PARAMETERS: dict[Selection, list[tuple[int, int]]] = {
    ("rpn", RPN_BEND_RANGE): [(CC_DATA_MSB, DEFAULT_BEND_RANGE_SEMITONES), (CC_DATA_LSB, 0)],
    ("rpn", (0, 1)): [(CC_DATA_MSB, 64), (CC_DATA_LSB, 0)],
    ("rpn", (0, 2)): [(CC_DATA_MSB, 64)],
    ("rpn", (0, 3)): [(CC_DATA_MSB, 0)],
    ("rpn", (0, 4)): [(CC_DATA_MSB, 0)],
    ("rpn", (0, 5)): [(CC_DATA_MSB, 0), (CC_DATA_LSB, 64)],
}
"""Parameters that start from a known value: MIDI 1.0 p. 18, GM2 3.4, MTS p. 3."""

_ENDS_NOTES = frozenset((120, 123, 124, 125, CC_MONO_ON, CC_POLY_ON))  # MIDI 1.0 4.2.1 p. 20


class BendState:
    """What the input's own bends and bend ranges amount to on one channel, event by event.

    MIDI 1.0 Detailed Specification 4.2.1 pp. 12, 17–19 (data entry, RPN 0, null); RP-015 for controller 121.
    """

    __slots__ = ("lsb", "msb", "selection", "value")

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        """Take the state of a device just switched on."""
        self.msb, self.lsb = DEFAULT_BEND_RANGE_SEMITONES, 0
        self.value = 0  # bend in steps from the centre
        self.selection: Selection = NO_SELECTION

    @property
    def range_semitones(self) -> float:
        """Bend range in force [semitones]."""
        return self.msb + self.lsb / 100.0

    @property
    def cents(self) -> float:
        """What the bend in force amounts to [cents]."""
        return self.value * self.range_semitones * 100.0 / BEND_CENTRE

    def control(self, number: int, value: int) -> None:
        """Take a control change."""
        kind, (msb, lsb) = self.selection
        if number == CC_RESET_ALL_CONTROLLERS:
            self.value, self.selection = 0, NO_SELECTION
        elif number == CC_RPN_MSB:
            self.selection = ("rpn", (value, lsb if kind == "rpn" else 127))
        elif number == CC_RPN_LSB:
            self.selection = ("rpn", (msb if kind == "rpn" else 127, value))
        elif number == CC_NRPN_MSB:
            self.selection = ("nrpn", (value, lsb if kind == "nrpn" else 127))
        elif number == CC_NRPN_LSB:
            self.selection = ("nrpn", (msb if kind == "nrpn" else 127, value))
        elif self.selection == ("rpn", RPN_BEND_RANGE):
            if number == CC_DATA_MSB:
                self.msb, self.lsb = value, 0
            elif number == CC_DATA_LSB:
                self.lsb = min(value, 99)


@dataclass(slots=True)
class Habits:
    """What the events of a channel tell about how its instrument is to be treated."""

    bend_cents: float = 0.0  # how far the input bends it
    bends: set[float] = field(default_factory=set)  # all that the input bends it to [cents]
    bend_range: float = 0.0  # widest range in force while it does [semitones]
    is_mono: bool = False  # put into mono mode before its first note and left there
    ends_notes: bool = False  # gets mode messages that end notes
    has_parameters: bool = False  # sets parameters whose value before is not known


def read_habits(
    instruments: tuple[Instrument, ...], others: Iterable[OtherEvent], first_note: Mapping[int, int]
) -> tuple[Habits, ...]:
    """Habits of each instrument, from one pass over the events that are not notes.

    `first_note` is the rank of each instrument's first note-on.
    """
    index_of = {(i.port, i.channel): i.index for i in instruments}
    states = [BendState() for _ in instruments]
    habits = tuple(Habits() for _ in instruments)
    for event in others:
        if event.channel < 0:
            for instrument in instruments:
                if instrument.port == event.port:
                    states[instrument.index].reset()
                    habits[instrument.index].is_mono = False
            continue
        index = index_of[event.port, event.channel]
        state, habit = states[index], habits[index]
        if event.message.type == "pitchwheel":
            state.value = event.message.pitch
        elif event.message.type == "control_change":
            state.control(event.message.control, event.message.value)
            _take_control(habit, state, event.message.control, event.rank < first_note.get(index, 0))
        if state.value:
            habit.bends.add(state.cents)
            habit.bend_cents = max(habit.bend_cents, abs(state.cents))
            habit.bend_range = max(habit.bend_range, state.range_semitones)
    return habits


def _take_control(habit: Habits, state: BendState, number: int, is_early: bool) -> None:
    if number in _ENDS_NOTES:
        habit.ends_notes = True
        if number in (CC_MONO_ON, CC_POLY_ON):
            habit.is_mono = number == CC_MONO_ON and (is_early or habit.is_mono)
    elif number in DATA_CONTROLLERS and state.selection not in KNOWN_PARAMETERS:
        habit.has_parameters |= is_chosen(state.selection)

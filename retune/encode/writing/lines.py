"""Channels as a receiver knows them, and instruments as the input means them, while a file is written.

A `Line` is one channel of the output: what has been sent on it. A `Voice` is one instrument of the input:
what its channel would be set to by now. Bringing a line into agreement with a voice sends what differs and no
more.

Which controllers a channel has and what they start from: General MIDI 2 (RP-024) 3.3; what controller 121
resets: RP-015; banks take effect with the next program change, so the three travel together (MIDI 1.0
Detailed Specification 4.2.1 p. 13).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import mido

from retune.constants import (
    BEND_CENTRE,
    CC_BANK_LSB,
    CC_BANK_MSB,
    CC_DATA_MSB,
    CONTROLLER_STARTS,
)
from retune.encode import messages as build
from retune.encode.survey.instruments import KNOWN_PARAMETERS, NO_SELECTION, BendState, Instrument, Selection
from retune.encode.survey.parameters import BEND, PRESSURE, RESET

Data = list[tuple[int, int]]
"""Data entry of one parameter: (controller, value) since its last MSB."""


@dataclass(slots=True, eq=False)
class Voice:
    """An instrument of the input as its channel stands at a moment of the file."""

    instrument: Instrument
    home: Line
    is_tuned: bool = False
    range_semitones: int = 0  # bend range of the output; 0: its bends are left to the input
    program: tuple[int, int, int] | None = None  # bank MSB, bank LSB, program
    bank: tuple[int, int] = (0, 0)
    settings: dict[int, int] = field(default_factory=dict)
    parameters: dict[Selection, Data] = field(default_factory=dict)
    bend: BendState = field(default_factory=BendState)
    lines: list[Line] = field(default_factory=list)  # in use, home first

    def reset(self) -> None:
        """A device reset: everything back to its start."""
        self.program, self.bank = None, (0, 0)
        self.settings.clear()
        self.parameters.clear()
        self.bend.reset()

    def reset_controllers(self) -> None:
        """Controller 121."""
        for number in RESET:
            self.settings.pop(number, None)


@dataclass(slots=True, eq=False)
class Line:
    """A channel of the output as a receiver knows it."""

    channel: int
    port: int = -1  # further port; -1: the instrument's own
    owner: Voice | None = None  # whose notes it plays now
    guest_of: Voice | None = None  # whose events pass over it: it is that voice's channel in the input
    program: tuple[int, int, int] | None = None
    bank: tuple[int, int] = (0, 0)  # that the next program change would take
    settings: dict[int, int] = field(default_factory=dict)
    parameters: dict[Selection, Data] = field(default_factory=dict)
    range_semitones: int | None = None  # None: not set yet, or reset
    bend: int = BEND_CENTRE
    sent: tuple[int, int] = (-1, -1)  # tick and track of the last tuning message
    values: dict[int, int] = field(default_factory=dict)  # tuning in force, by slot [steps]
    until: dict[int, int] = field(default_factory=dict)  # tick to which a slot's notes sound
    sounding_until: int = -1  # tick
    ringing_until: int = -1  # tick, tail included
    stale: bool = True

    def reset(self) -> None:
        """A device reset: nothing is known any more."""
        self.program, self.bank, self.range_semitones = None, (0, 0), None
        self.bend, self.stale = BEND_CENTRE, True
        self.settings.clear()
        self.parameters.clear()

    def reset_controllers(self) -> None:
        """Controller 121."""
        for number in RESET:
            self.settings.pop(number, None)
        self.bend = BEND_CENTRE

    @property
    def selection(self) -> Selection:
        """The parameter selection that events passing over this channel rely on."""
        return self.guest_of.bend.selection if self.guest_of else NO_SELECTION

    def agree_with(self, voice: Voice) -> Iterator[mido.Message]:
        """What must be sent so that a note of `voice` may start here; its tuning is sent by the caller."""
        yield from self.agree_on_program(voice)
        numbers = dict.fromkeys([*voice.settings, *self.settings])
        for number in numbers:
            yield from self.set(number, voice.settings.get(number, CONTROLLER_STARTS.get(number, 0)))
        for selection in [k for k in self.parameters if k in KNOWN_PARAMETERS and k not in voice.parameters]:
            if self.parameters[selection] != KNOWN_PARAMETERS[selection]:
                yield from self.set_parameter(selection, KNOWN_PARAMETERS[selection])
        for selection, data in voice.parameters.items():
            if self.parameters.get(selection) != data:
                yield from self.set_parameter(selection, data)
        self.owner, self.stale = voice, False

    def agree_on_program(self, voice: Voice) -> Iterator[mido.Message]:
        """Bank and program, unbroken, if they are not so already."""
        wanted = voice.program or ((0, 0, 0) if self.program else None)
        if wanted is None or wanted == self.program:
            return
        self.program = wanted
        if wanted[:2] != self.bank:
            self.bank = wanted[:2]
            yield build.control(self.channel, CC_BANK_MSB, wanted[0])
            yield build.control(self.channel, CC_BANK_LSB, wanted[1])
        yield build.program(self.channel, wanted[2])

    def set(self, number: int, value: int) -> Iterator[mido.Message]:
        """Set a controller, the channel pressure or the input's own bend, if it is not so already."""
        if self.settings.get(number) == value:
            return
        self.settings[number] = value
        if number == PRESSURE:
            yield build.pressure(self.channel, value)
        elif number == BEND:
            yield build.bend(self.channel, BEND_CENTRE + value)
        else:
            yield build.control(self.channel, number, value)

    def set_parameter(self, selection: Selection, data: Data) -> Iterator[mido.Message]:
        """Set a parameter as one unbroken group.

        Data that do not begin with an MSB count from what the channel has: they go on from there, or from the start.
        """
        told, wanted = self.parameters.get(selection, []), data
        if data[0][0] != CC_DATA_MSB:
            goes_on = told == data[: len(told)]
            wanted = data[len(told) :] if goes_on else [*KNOWN_PARAMETERS.get(selection, []), *data]
        self.parameters[selection] = list(data)
        kind, number = selection
        yield from build.set_parameter(self.channel, number, tuple(wanted), kind=kind, then=self.selection)

    def enter(self, selection: Selection, number: int, value: int) -> None:
        """Note down data entry that passes over this channel or is copied to it."""
        told = [] if number == CC_DATA_MSB else self.parameters.get(selection, [])
        self.parameters[selection] = [*told, (number, value)]

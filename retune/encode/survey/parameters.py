"""What the input has told a channel, followed message by message: bends, ranges, tunings, programs, controllers.

MIDI 1.0 Detailed Specification 4.2.1 pp. 11-13, 17-18; General MIDI 2 (RP-024) 3.3. How far a step of controllers 96
and 97 goes is not said there, and receivers differ (measured: TiMidity++ 2.14.0 steps the bend range by semitones,
FluidSynth 2.3.1 and midirenderer 0.1.3 not at all). Here a step is the smallest unit the parameter has: a cent of
bend range, 1/8192 of a semitone of fine tuning, a semitone of coarse tuning.
"""

from __future__ import annotations

import mido

from retune.constants import (
    BANK_CONTROLLERS,
    CC_BANK_MSB,
    CC_DATA_INCREMENT,
    CC_DATA_LSB,
    CC_DATA_MSB,
    CC_RESET_ALL_CONTROLLERS,
    CONTROLLER_STARTS,
    DATA_CONTROLLERS,
    DEFAULT_BEND_RANGE_SEMITONES,
    FIRST_MODE_MESSAGE,
    RESET_BY_121,
    RPN_BEND_RANGE,
    RPN_COARSE_TUNING,
    RPN_FINE_TUNING,
    RPN_MPE_CONFIGURATION,
)
from retune.encode.survey.instruments import BendState, Selection

PRESSURE, BEND = 128, 129  # channel pressure and bend, kept beside the controllers 0–127
RESET = (*RESET_BY_121, PRESSURE, BEND)
"""What controller 121 resets (RP-015), and what goes with it."""

BEND_RANGE: Selection = ("rpn", RPN_BEND_RANGE)
FINE: Selection = ("rpn", RPN_FINE_TUNING)
COARSE: Selection = ("rpn", RPN_COARSE_TUNING)
CONFIGURATION: Selection = ("rpn", RPN_MPE_CONFIGURATION)
STARTS = {
    BEND_RANGE: (DEFAULT_BEND_RANGE_SEMITONES, 0),
    FINE: (64, 0),
    COARSE: (64, 0),
}  # p. 18; General MIDI 1 p. 3 for the bend range
_CENTS_IN_RANGE = 100
_NO_SETTINGS = frozenset((84, 88, 98, 99, 100, 101))  # for the next note only (p. 16), and selections

Program = tuple[int, int, int]
"""Bank MSB, bank LSB, program."""


class ChannelState(BendState):
    """Selection, bend, tuning parameters (MSB, LSB), program, controllers and pressure, with their ranks."""

    __slots__ = ("bank", "program", "settings", "values")

    def reset(self) -> None:
        """Take the state of a device just switched on."""
        super().reset()
        self.values = dict(STARTS)
        self.bank = (0, 0)
        self.program: Program | None = None
        self.settings: dict[int, tuple[int, int]] = {}  # controller -> rank, value

    def take(self, message: mido.Message, rank: int) -> None:
        """Take any channel message."""
        if message.type == "pitchwheel":
            self.value = message.pitch
        elif message.type == "program_change":
            self.program = (*self.bank, message.program)
        elif message.type == "aftertouch":
            self.settings[PRESSURE] = (rank, message.value)
        elif message.type == "control_change":
            self._control(message.control, message.value, rank)

    def _control(self, number: int, value: int, rank: int) -> None:
        if number not in DATA_CONTROLLERS:
            self.control(number, value)
            self._set(rank, number, value)
        elif self.selection in STARTS:
            self.values[self.selection] = entered(self.selection, self.values[self.selection], number, value)
            self.msb, self.lsb = self.values[BEND_RANGE]

    def _set(self, rank: int, number: int, value: int) -> None:
        if number in BANK_CONTROLLERS:
            self.bank = (value, self.bank[1]) if number == CC_BANK_MSB else (self.bank[0], value)
        elif number == CC_RESET_ALL_CONTROLLERS:
            for reset in RESET:
                if reset < FIRST_MODE_MESSAGE or reset == PRESSURE:
                    self.settings[reset] = (rank, CONTROLLER_STARTS.get(reset, 0))
        elif number < FIRST_MODE_MESSAGE and number not in _NO_SETTINGS:
            self.settings[number] = (rank, value)

    def set_range(self, msb: int, lsb: int = 0) -> None:
        """Set the bend range [semitones, cents] from outside the channel."""
        self.values[BEND_RANGE] = self.msb, self.lsb = msb, lsb

    def setting(self, number: int) -> int:
        """Value of a controller or the pressure."""
        return self.settings[number][1] if number in self.settings else CONTROLLER_STARTS.get(number, 0)


def entered(selection: Selection, data: tuple[int, int], number: int, value: int) -> tuple[int, int]:
    """(MSB, LSB) of a parameter after data entry; the MSB sets the LSB to zero (p. 12)."""
    msb, lsb = data
    if number == CC_DATA_MSB:
        return value, 0
    if number == CC_DATA_LSB:
        return msb, min(value, _CENTS_IN_RANGE - 1) if selection == BEND_RANGE else value
    step = 1 if number == CC_DATA_INCREMENT else -1
    if selection == COARSE:
        return min(max(msb + step, 0), 127), lsb
    unit = _CENTS_IN_RANGE if selection == BEND_RANGE else 128
    whole = min(max(msb * unit + min(lsb, unit - 1) + step, 0), 128 * unit - 1)
    return divmod(whole, unit)

"""What a channel remembers between events, and how it is told the values of its parameters.

Page numbers: MIDI 1.0 Detailed Specification 4.2.1 (p.).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from retune.constants import (
    CC_DATA_INCREMENT,
    CC_DATA_LSB,
    CC_DATA_MSB,
    CC_NRPN_LSB,
    CC_NRPN_MSB,
    CC_RPN_LSB,
    CC_RPN_MSB,
    DEFAULT_BEND_RANGE_SEMITONES,
    RPN_BEND_RANGE,
    RPN_COARSE_TUNING,
    RPN_FINE_TUNING,
    RPN_MODULATION_RANGE,
    RPN_MPE_CONFIGURATION,
    RPN_NULL,
    RPN_TUNING_BANK,
    RPN_TUNING_PROGRAM,
)

NOT_CHOSEN = RPN_NULL[0]  # nor is a parameter chosen of which half is given
TUNING_PARAMETERS = (
    RPN_BEND_RANGE,
    RPN_FINE_TUNING,
    RPN_COARSE_TUNING,
    RPN_TUNING_PROGRAM,
    RPN_TUNING_BANK,
    RPN_MPE_CONFIGURATION,
)
_START_DATA = {
    RPN_BEND_RANGE: [DEFAULT_BEND_RANGE_SEMITONES, 0],
    RPN_FINE_TUNING: [64, 0],
    RPN_COARSE_TUNING: [64, 0],
    RPN_MODULATION_RANGE: [0, 64],  # half a semitone
}

_STEPPED_BY_MSB = tuple((True, number) for number in (RPN_COARSE_TUNING, RPN_TUNING_PROGRAM, RPN_TUNING_BANK))

Parameter = tuple[bool, tuple[int, int]]  # registered or not, (MSB, LSB)


@dataclass(slots=True)
class Channel:
    """What a channel remembers between events."""

    chosen: Parameter = (True, RPN_NULL)
    data: dict[Parameter, list[int]] = field(default_factory=dict)
    fine_cents: float = 0.0
    coarse_cents: float = 0.0
    tuning: tuple[int, int] = (0, 0)  # bank, program
    plain_range: list[int] = field(
        default_factory=lambda: start_of((True, RPN_BEND_RANGE))
    )  # MSB, LSB to who knows no zones

    def select(self, controller: int, value: int) -> None:
        """Half of the choice of a parameter; the other half stays if it was of the same kind (pp. 11-12, 17)."""
        registered, (msb, lsb) = self.chosen
        now = controller in (CC_RPN_MSB, CC_RPN_LSB)
        if now != registered:
            msb = lsb = NOT_CHOSEN
        if controller in (CC_RPN_MSB, CC_NRPN_MSB):
            self.chosen = (now, (value, lsb))
        elif controller in (CC_RPN_LSB, CC_NRPN_LSB):
            self.chosen = (now, (msb, value))

    @property
    def has_chosen(self) -> bool:
        """Whether data entry reaches a parameter."""
        return NOT_CHOSEN not in self.chosen[1]

    def enter(self, parameter: Parameter, controller: int, value: int) -> list[int]:
        """Data entry for a parameter; its data afterwards, MSB and LSB."""
        data = self.data.setdefault(parameter, start_of(parameter))
        enter(data, controller, value, parameter)
        return data


def start_of(parameter: Parameter) -> list[int]:
    """Data of a parameter before anything is entered, MSB and LSB."""
    registered, number = parameter
    return list(_START_DATA.get(number, (0, 0))) if registered else [0, 0]


def tunes(parameter: Parameter) -> bool:
    """Whether a parameter decides pitch."""
    return parameter[0] and parameter[1] in TUNING_PARAMETERS


def number_of(parameter: Parameter) -> int:
    """One number for a parameter, registered ones behind the others."""
    registered, (msb, lsb) = parameter
    return registered << 14 | msb << 7 | lsb


def range_cents_of(data: list[int]) -> float:
    """Bend range of its data: semitones and cents (p. 18)."""
    return 100.0 * data[0] + min(data[1], 99)


def enter(data: list[int], controller: int, value: int, parameter: Parameter) -> None:
    """Data entry; the MSB sets the LSB to zero (p. 12).

    Stepping counts in the smallest unit of the parameter: cents of bend range, semitones of coarse tuning, tuning
    programs and banks, units of the LSB of all others.
    """
    if controller == CC_DATA_MSB:
        data[:] = [value, 0]
    elif controller == CC_DATA_LSB:
        data[1] = value
    else:
        step = 1 if controller == CC_DATA_INCREMENT else -1
        if parameter in _STEPPED_BY_MSB:
            data[0] = min(max(data[0] + step, 0), 127)
            return
        unit = 100 if parameter == (True, RPN_BEND_RANGE) else 128
        whole = min(max(data[0] * unit + min(data[1], unit - 1) + step, 0), 128 * unit - 1)
        data[:] = divmod(whole, unit)

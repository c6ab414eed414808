"""Messages built cheaply.

`mido.Message(...)` validates every field (5–10 µs). The stage builds thousands of messages out of values it
has already checked, so it fills the objects directly (below 1 µs), and each different one once: they are never
changed, and the same ones come again and again. Every value handed to these functions must be legal: channels 0–15,
data 0–127, bend values 0–16383.
"""

from __future__ import annotations

from functools import lru_cache

import mido
from mido.messages.messages import SysexData

from retune.constants import (
    BEND_CENTRE,
    CC_DATA_LSB,
    CC_DATA_MSB,
    CC_NRPN_LSB,
    CC_NRPN_MSB,
    CC_RPN_LSB,
    CC_RPN_MSB,
    RPN_BEND_RANGE,
    RPN_NULL,
)
from retune.score.resets import reset_of

_new = mido.Message.__new__
_Message = mido.Message
_once = lru_cache(maxsize=1 << 16)  # at most some twenty megabytes


@_once
def bend(channel: int, value: int) -> mido.Message:
    """Pitch bend of `value` 0–16383, centre 8192."""
    message = _new(_Message)
    message.__dict__.update(type="pitchwheel", time=0, channel=channel, pitch=value - BEND_CENTRE)
    return message


@_once
def note(kind: str, channel: int, key: int, velocity: int) -> mido.Message:
    """Note-on or note-off."""
    message = _new(_Message)
    message.__dict__.update(type=kind, time=0, channel=channel, note=key, velocity=velocity)
    return message


@_once
def control(channel: int, number: int, value: int) -> mido.Message:
    """Control change."""
    message = _new(_Message)
    message.__dict__.update(type="control_change", time=0, channel=channel, control=number, value=value)
    return message


@_once
def program(channel: int, number: int) -> mido.Message:
    """Program change."""
    message = _new(_Message)
    message.__dict__.update(type="program_change", time=0, channel=channel, program=number)
    return message


@_once
def pressure(channel: int, value: int) -> mido.Message:
    """Channel pressure."""
    message = _new(_Message)
    message.__dict__.update(type="aftertouch", time=0, channel=channel, value=value)
    return message


def sysex(data: tuple[int, ...]) -> mido.Message:
    """System exclusive; `data` without F0 and F7."""
    message = _new(_Message)
    message.__dict__.update(type="sysex", time=0, data=SysexData(data))
    return message


def select_parameter(channel: int, kind: str, number: tuple[int, int]) -> list[mido.Message]:
    """Selection of a registered ("rpn") or non-registered ("nrpn") parameter, MSB first."""
    msb, lsb = (CC_RPN_MSB, CC_RPN_LSB) if kind == "rpn" else (CC_NRPN_MSB, CC_NRPN_LSB)
    return [control(channel, msb, number[0]), control(channel, lsb, number[1])]


def is_chosen(selection: tuple[str, tuple[int, int]]) -> bool:
    """True if a parameter is selected: both halves of its number have been given, and none is that of null."""
    return RPN_NULL[0] not in selection[1]


def set_parameter(
    channel: int,
    number: tuple[int, int],
    data: tuple[tuple[int, int], ...],
    *,
    kind: str = "rpn",
    then: tuple[str, tuple[int, int]] = ("rpn", RPN_NULL),
) -> list[mido.Message]:
    """One parameter set as an unbroken group, closed by null or by the selection the input relies on.

    `data` holds (controller, value) pairs of data entry, the MSB before the LSB: a data MSB sets the
    receiver's LSB to 0 (MIDI 1.0 Detailed Specification 4.2.1 p. 12).
    """
    group = select_parameter(channel, kind, number)
    group += [control(channel, controller, value) for controller, value in data]
    return group + select_parameter(channel, *then)


def bend_range(
    channel: int, semitones: int, then: tuple[str, tuple[int, int]] = ("rpn", RPN_NULL)
) -> list[mido.Message]:
    """RPN 0: pitch bend range in whole semitones, cents 0 (some receivers ignore the cents)."""
    data = ((CC_DATA_MSB, semitones), (CC_DATA_LSB, 0))
    return set_parameter(channel, RPN_BEND_RANGE, data, then=then)


def is_device_control(message: mido.Message) -> bool:
    """True for a sysex about a device as a whole: master volume, balance, tuning (CA-025)."""
    return len(message.data) > 3 and (message.data[0], message.data[2]) == (0x7F, 0x04)


def is_reset(message: mido.Message) -> bool:
    """True for a sysex that puts a device back to its start: GM, GM2, GS, XG."""
    return bool(reset_of(message.data))

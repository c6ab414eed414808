"""Parts: who plays the notes, on which program, and whether it is a drum kit.

Channel 10 is percussion (General MIDI 1 p. 2). Beyond that a channel becomes a drum kit, or stops being
one, by: bank 120 or 121 with a program change (General MIDI 2, RP-024: rhythm and melody banks; 121
counts on channel 10 only after General MIDI 2 is switched on), a "use for rhythm part" message of the GS
format, and bank 126 or 127 with a program change once the XG format is switched on (the last two from
memory). In an MPE zone channel 10 is a member like any other, and members have the program of their manager
(M1-100-UM v1.1, 2.2.1 and 2.3.3).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import mido
import numpy as np
from numpy.typing import NDArray

from retune.constants import PERCUSSION_CHANNEL
from retune.score.columns import CC_BANK_MSB, CC_DATA_MSB, CC_RPN_MSB, SETUP_CONTROLS
from retune.score.model import IntArray, Part

_GM2_RHYTHM_BANK, _GM2_MELODY_BANK = 120, 121  # RP-024
_XG_DRUM_BANKS = (126, 127)  # from memory
_LOWER, _UPPER = _MANAGERS = (0, 15)  # manager channels, zero-based: M1-100-UM v1.1, 2.2.1
_MPE_CONFIGURATION = (0, 6)  # registered parameter, the same
_GM_SYSTEM = (0x7E, 0x09)  # RP-003 p. 3, RP-024 4.9: F0 7E dd 09 xx F7
_GS_DATA_SET = (0x41, 0x42, 0x12)  # from memory: F0 41 dd 42 12 <address> <data> <checksum> F7
_XG_SYSTEM_ON = (0x4C, 0x00, 0x00, 0x7E, 0x00)  # from memory: F0 43 1n 4C 00 00 7E 00 F7


class SetupEvent(NamedTuple):
    """A program change, bank select or sysex: where it stands and the message."""

    tick: int
    track: int
    event: int
    port: int
    message: mido.Message


@dataclass(slots=True)
class _Port:
    """What the set-up events so far have made of the sixteen channels of a port."""

    program: list[int] = field(default_factory=lambda: [0] * 16)
    bank: list[int] = field(default_factory=lambda: [0] * 16)
    is_drums: list[bool] = field(default_factory=lambda: [c == PERCUSSION_CHANNEL for c in range(16)])
    system: str = ""
    members: dict[int, int] = field(default_factory=dict)  # manager → members of its zone
    chosen: dict[int, tuple[int, int]] = field(default_factory=dict)  # channel → registered parameter

    def apply(self, message: mido.Message) -> None:
        if message.type == "sysex":
            self._apply_sysex(message.data)
        elif message.type == "program_change":
            self._apply_program(message.channel, message.program)
        elif message.control == CC_BANK_MSB:
            self.bank[message.channel] = message.value
        else:
            self._apply_parameter(message.channel, message.control, message.value)

    def sound(self, channel: int) -> tuple[int, bool]:
        """Program of a channel, and whether it is a drum kit."""
        lower, upper = (self.members.get(manager, 0) for manager in _MANAGERS)
        if 1 <= channel <= lower or _UPPER - upper <= channel < _UPPER:
            manager = _LOWER if channel <= lower else _UPPER
            return self.program[manager] or self.program[channel], False
        return self.program[channel], self.is_drums[channel]

    def _apply_parameter(self, channel: int, number: int, value: int) -> None:
        msb, lsb = self.chosen.get(channel, (127, 127))
        if number == CC_DATA_MSB:
            if (msb, lsb) == _MPE_CONFIGURATION and channel in _MANAGERS:
                self._configure(channel, value)
        else:
            self.chosen[channel] = (value, lsb) if number == CC_RPN_MSB else (msb, value)

    def _configure(self, manager: int, count: int) -> None:
        """The later of two zones wins where they would overlap (M1-100-UM v1.1, 2.2.2)."""
        self.members[manager] = min(count, _UPPER)
        if count:
            other = _UPPER - manager
            room = _UPPER - 1 - self.members[manager]
            self.members[other] = max(0, min(self.members.get(other, 0), room))

    def _apply_program(self, channel: int, program: int) -> None:
        self.program[channel] = program
        bank = self.bank[channel]
        if bank == _GM2_RHYTHM_BANK or (self.system == "xg" and bank in _XG_DRUM_BANKS):
            self.is_drums[channel] = True
        elif bank == _GM2_MELODY_BANK and (self.system == "gm2" or channel != PERCUSSION_CHANNEL):
            self.is_drums[channel] = False

    def _apply_sysex(self, data: Sequence[int]) -> None:
        if len(data) == 4 and (data[0], data[2]) == _GM_SYSTEM and data[3] in (1, 3):
            self._reset("gm2" if data[3] == 3 else "gm")
        elif len(data) == 7 and data[0] == 0x43 and tuple(data[2:7]) == _XG_SYSTEM_ON:
            self._reset("xg")
        elif len(data) == 9 and (data[0], data[2], data[3]) == _GS_DATA_SET and data[4] == 0x40:
            self._apply_gs(data[5], data[6], data[7])

    def _apply_gs(self, middle: int, low: int, value: int) -> None:
        if (middle, low) == (0x00, 0x7F):
            self._reset("gs")
        elif middle >> 4 == 1 and low == 0x15:
            block = middle & 15  # block 0 is channel 10, blocks 1-9 channels 1-9, blocks A-F channels 11-16
            self.is_drums[9 if block == 0 else block - 1 if block <= 9 else block] = value > 0

    def _reset(self, system: str) -> None:
        fresh = _Port()
        self.program, self.bank, self.is_drums, self.system = (
            fresh.program,
            fresh.bank,
            fresh.is_drums,
            system,
        )
        self.chosen.clear()


def build_parts(
    notes: NDArray[np.void], keys: IntArray, names: Sequence[str], setup: Iterable[SetupEvent]
) -> tuple[Part, ...]:
    """Return one part for each row of `keys` (track, port, channel), which `notes["part"]` points to.

    Program and percussion are those in force at the part's first note. Set-up events of a tick count
    before its notes, whichever track they are in.
    """
    first = np.full(len(keys), len(notes), dtype=np.int64)
    np.minimum.at(first, notes["part"], np.arange(len(notes)))
    waiting = [(int(notes["onset_tick"][row]), part) for part, row in enumerate(first)]
    waiting.sort()
    ports: dict[int, _Port] = {}
    found: dict[int, tuple[int, bool]] = {}
    events = sorted(setup, key=lambda event: (event.tick, event.track, event.event))
    at = 0
    for tick, part in waiting:
        while at < len(events) and events[at].tick <= tick:
            ports.setdefault(events[at].port, _Port()).apply(events[at].message)
            at += 1
        _, port, channel = (int(value) for value in keys[part])
        state = ports.setdefault(port, _Port())
        found[part] = state.sound(channel)
    shared = np.bincount(keys[:, 0], minlength=len(names)) > 1
    return tuple(
        Part(
            index=part,
            name=_part_name(names[track], track, port, channel, bool(shared[track])),
            track=track,
            port=port,
            channel=channel,
            program=found[part][0],
            is_percussion=found[part][1],
        )
        for part, (track, port, channel) in enumerate(keys.tolist())
    )


def _part_name(track_name: str, track: int, port: int, channel: int, shared: bool) -> str:
    """Track name, with the channel where a track holds several parts; numbers count from 1."""
    name = track_name or f"track {track + 1}"
    if shared or not track_name:
        name += f" channel {channel + 1}"
    return name + (f" port {port + 1}" if port and shared else "")


def is_setup(message: mido.Message) -> bool:
    """Tell whether a message is one that `build_parts` heeds."""
    kind = message.type
    return kind in ("program_change", "sysex") or (
        kind == "control_change" and message.control in SETUP_CONTROLS
    )

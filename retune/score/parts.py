"""Parts: who plays the notes, on which program, and whether it is a drum kit.

Channel 10 is percussion (General MIDI 1 p. 2). Beyond that a channel becomes a drum kit, or stops being
one, by: bank 120 or 121 with a program change (General MIDI 2, RP-024: rhythm and melody banks; 121
counts on channel 10 only after General MIDI 2 is switched on), a "use for rhythm part" message of the GS
format, and bank 126 or 127 with a program change once the XG format is switched on (the last two from
memory). In an MPE zone channel 10 is a member like any other, and members have the program of their manager
(M1-100-UM v1.1, 2.2.1 and 2.3.3).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import mido
import numpy as np
from numpy.typing import NDArray

from retune.constants import (
    CC_BANK_MSB,
    CC_DATA_MSB,
    CC_RPN_LSB,
    CC_RPN_MSB,
    CHANNELS_PER_PORT,
    GM2_MELODY_BANK,
    GM2_RHYTHM_BANK,
    PERCUSSION_CHANNEL,
    RPN_MPE_CONFIGURATION,
    RPN_NULL,
    XG_DRUM_BANKS,
)
from retune.score.columns import SETUP_CONTROLS
from retune.score.model import IntArray, Part, Score
from retune.score.resets import reset_of, rhythm_part
from retune.score.zones import LOWER, UPPER, Zones


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

    program: list[int | None] = field(default_factory=lambda: [None] * CHANNELS_PER_PORT)
    bank: list[int] = field(default_factory=lambda: [0] * CHANNELS_PER_PORT)
    kit: list[bool | None] = field(
        default_factory=lambda: [None] * CHANNELS_PER_PORT
    )  # by the program's bank
    rhythm: list[bool | None] = field(default_factory=lambda: [None] * CHANNELS_PER_PORT)  # by GS messages
    system: str = ""
    zones: Zones = field(default_factory=Zones)
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
        """Program of a channel, and whether it is a drum kit: in a zone the manager's, if it was told one."""
        manager = self.zones.manager_of(channel)
        chooser = channel if manager is None or self.program[manager] is None else manager
        told = (self.kit[chooser], self.rhythm[channel], manager is None and channel == PERCUSSION_CHANNEL)
        return self.program[chooser] or 0, next(is_drums for is_drums in told if is_drums is not None)

    def _apply_parameter(self, channel: int, number: int, value: int) -> None:
        msb, lsb = self.chosen.get(channel, RPN_NULL)
        if number == CC_DATA_MSB:
            if (msb, lsb) == RPN_MPE_CONFIGURATION and channel in (LOWER, UPPER):
                self.zones.configure(channel, value)
        elif number in (CC_RPN_MSB, CC_RPN_LSB):
            self.chosen[channel] = (value, lsb) if number == CC_RPN_MSB else (msb, value)
        else:
            self.chosen[channel] = RPN_NULL  # another parameter, or by CC121 none

    def _apply_program(self, channel: int, program: int) -> None:
        self.program[channel] = program
        bank = self.bank[channel]
        self.kit[channel] = None
        if bank == GM2_RHYTHM_BANK or (self.system == "xg" and bank in XG_DRUM_BANKS):
            self.kit[channel] = True
        elif bank == GM2_MELODY_BANK and (self.system == "gm2" or channel != PERCUSSION_CHANNEL):
            self.kit[channel] = False

    def _apply_sysex(self, data: Sequence[int]) -> None:
        system = reset_of(data)
        if system:
            self._reset(system)
        elif (part := rhythm_part(data)) is not None:
            channel, self.rhythm[channel] = part

    def _reset(self, system: str) -> None:
        fresh = _Port()
        self.program, self.bank, self.kit, self.rhythm = fresh.program, fresh.bank, fresh.kit, fresh.rhythm
        self.system = system
        self.chosen.clear()


def build_parts(
    notes: NDArray[np.void], keys: IntArray, names: Sequence[str], setup: Iterable[SetupEvent]
) -> tuple[Part, ...]:
    """Return one part for each row of `keys` (track, port, channel), which `notes["part"]` points to.

    Program and percussion are those in force at the part's first note. Set-up events of a tick count
    before its notes, whichever track they are in.
    """
    first = np.empty(len(keys), dtype=np.int64)
    first[notes["part"][::-1]] = notes["onset_tick"][::-1]  # of several notes the last one counts here
    waiting = sorted(zip(first.tolist(), range(len(keys)), keys.tolist(), strict=True))
    ports: dict[int, _Port] = defaultdict(_Port)
    found: dict[int, tuple[int, bool]] = {}
    events = sorted(setup, key=lambda event: (event.tick, event.track, event.event))
    at = 0
    for tick, part, (_, port, channel) in waiting:
        while at < len(events) and events[at].tick <= tick:
            ports[events[at].port].apply(events[at].message)
            at += 1
        found[part] = ports[port].sound(channel)
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


def notes_of_kits(score: Score) -> NDArray[np.bool_]:
    """(n_notes,) whether the channel of each note is a drum kit when it starts; a part may change.

    Set-up events of a tick count before its notes, whichever track they are in.
    """
    events = []
    for number, track in enumerate(score.tracks):
        port = 0
        for event, message in enumerate(track.messages):
            if message.type == "midi_port":
                port = message.port
            elif is_setup(message):
                events.append(SetupEvent(int(track.ticks[event]), number, event, port, message))
    events.sort(key=lambda event: (event.tick, event.track, event.event))
    ports: dict[int, _Port] = defaultdict(_Port)
    result = np.zeros(len(score.notes), bool)
    at = 0
    columns = (score.notes["onset_tick"].tolist(), score.notes["part"].tolist())
    for note, (tick, part) in enumerate(zip(*columns, strict=True)):
        while at < len(events) and events[at].tick <= tick:
            ports[events[at].port].apply(events[at].message)
            at += 1
        result[note] = ports[score.parts[part].port].sound(score.parts[part].channel)[1]
    return result


def rhythm_channels(setup: Iterable[SetupEvent]) -> frozenset[tuple[int, int]]:
    """Ports and channels that GS messages ever make drum kits: whatever programs they get then."""
    sysex = (event for event in setup if event.message.type == "sysex")
    told = ((event.port, rhythm_part(event.message.data)) for event in sysex)
    return frozenset((port, part[0]) for port, part in told if part is not None and part[1])


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

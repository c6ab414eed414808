"""A small receiver for the tests: what a multi-timbral instrument makes of a file, from the published rules alone.

Channel bend, RPN 0, 1 and 2, null, controller 121, GM System On (MIDI 1.0 Detailed Specification 4.2.1, RP-015,
RP-003); MPE zones (M1-100-UM v1.1); tuning programs and scale/octave tuning (MIDI Tuning Updated Specification). It
shares no code with the package.
"""

from __future__ import annotations

import io
from collections import defaultdict
from dataclasses import dataclass, field

import mido


@dataclass
class Channel:
    bend: int = 0
    range: float = 2.0
    selected: tuple[str, int, int] = ("rpn", 127, 127)
    fine: float = 0.0
    coarse: float = 0.0
    program: tuple[int, int, int] = (0, 0, 0)
    bank: tuple[int, int] = (0, 0)
    controls: dict[int, int] = field(default_factory=dict)
    pressure: int = 0
    parameters: dict[tuple[str, int, int], list[tuple[int, int]]] = field(default_factory=dict)
    octave: list[float] = field(default_factory=lambda: [0.0] * 12)
    tuning: tuple[int, int] | None = None  # bank, program selected by RPN 4 and 3


@dataclass
class Heard:
    on: int
    off: int | None
    key: int
    velocity: int
    release: int
    port: int
    channel: int
    track: int
    state: Channel  # a copy, as it stood at the note-on
    curve: list[tuple[int, float]]  # (tick, cents from equal temperament) while the key is down
    ringing: list[tuple[int, float]] = field(default_factory=list)  # changes after the release
    settings: dict[object, list[tuple[int, object]]] = field(default_factory=dict)  # while the key is down


class Receiver:
    def __init__(self, data: bytes) -> None:
        self.file = mido.MidiFile(file=io.BytesIO(data))
        self.channels: dict[tuple[int, int], Channel] = defaultdict(Channel)
        self.tables: dict[tuple[int, int, int, int], dict[int, float]] = defaultdict(dict)
        self.zones: dict[tuple[int, int], int] = {}
        self.heard: list[Heard] = []
        self.live: dict[tuple[int, int, int], list[Heard]] = defaultdict(list)
        self.kept: list[tuple[int, int, mido.MetaMessage | mido.Message]] = []
        self.play()

    def play(self) -> None:
        events = []
        for t, track in enumerate(self.file.tracks):
            now = 0
            for i, message in enumerate(track):
                now += message.time
                events.append((now, t, i, message))
        events.sort(key=lambda e: e[:3])
        port: dict[int, int] = defaultdict(int)
        for tick, track, _, message in events:
            if message.is_meta:
                if message.type == "midi_port":
                    port[track] = message.port
                if message.type != "end_of_track":
                    self.kept.append((tick, track, message))
            elif message.type == "sysex":
                self.sysex(tick, track, port[track], message)
            else:
                self.channel_message(tick, track, port[track], message)

    def channel_message(self, tick: int, track: int, port: int, message: mido.Message) -> None:
        channel, kind = message.channel, message.type
        state = self.channels[port, channel]
        if kind == "note_on" and message.velocity > 0:
            copy = Channel(**{**vars(state), "controls": dict(state.controls), "octave": list(state.octave)})
            copy.parameters = {k: list(v) for k, v in state.parameters.items()}
            manager = self.manager(port, channel)
            if manager is not None:
                over = self.channels[port, manager]
                copy.program, copy.controls, copy.pressure = over.program, dict(over.controls), over.pressure
                copy.parameters = {k: list(v) for k, v in over.parameters.items()}
            heard = Heard(
                tick, None, message.note, message.velocity, 64, port, channel, track, copy,
                [(tick, self.cents(port, channel, message.note))],
            )  # fmt: skip
            self.heard.append(heard)
            self.live[port, channel, message.note].append(heard)
        elif kind in ("note_on", "note_off"):
            playing = self.live[port, channel, message.note]
            down = [h for h in playing if h.off is None]
            if down:
                down[0].off = tick
                down[0].release = message.velocity if kind == "note_off" else 64
        elif kind == "pitchwheel":
            state.bend = message.pitch
            self.retune(tick, port)
        elif kind == "program_change":
            state.program = (*state.bank, message.program)
            self.tell(tick, port, channel, "program", state.program)
        elif kind == "aftertouch":
            state.pressure = message.value
            member = self.manager(port, channel) is not None
            self.tell(tick, port, channel, "key pressure" if member else "pressure", message.value)
        elif kind == "polytouch":
            for heard in self.live[port, channel, message.note]:
                if heard.off is None:
                    heard.settings.setdefault("key pressure", []).append((tick, message.value))
        elif kind == "control_change":
            self.control(tick, port, channel, state, message.control, message.value)

    def tell(self, tick: int, port: int, channel: int, what: object, value: object) -> None:
        if self.manager(port, channel) is not None and what != "key pressure":
            return  # on a member: ignored (2.3.1)
        for heard in self.sounding(port, channel):
            heard.settings.setdefault(what, []).append((tick, value))

    def control(self, tick: int, port: int, channel: int, state: Channel, number: int, value: int) -> None:
        _, msb, lsb = state.selected
        if number == 0:
            state.bank = (value, state.bank[1])
        elif number == 32:
            state.bank = (state.bank[0], value)
        elif number in (100, 101):
            state.selected = ("rpn", value if number == 101 else msb, value if number == 100 else lsb)
        elif number in (98, 99):
            state.selected = ("nrpn", value if number == 99 else msb, value if number == 98 else lsb)
        elif number in (6, 38, 96, 97):
            if (msb, lsb) != (127, 127):
                data = state.parameters.setdefault(state.selected, [])
                if number == 6:
                    data.clear()
                data.append((number, value))
                self.tell(tick, port, channel, state.selected, tuple(data))
                self.parameter(tick, port, channel, state, number, value)
        elif number == 121:
            state.bend, state.selected, state.pressure = 0, ("rpn", 127, 127), 0
            for reset in (1, 11, 64, 65, 66, 67):
                state.controls.pop(reset, None)
                self.tell(tick, port, channel, reset, 127 if reset == 11 else 0)
            self.tell(tick, port, channel, "pressure", 0)
            self.retune(tick, port)
        else:
            state.controls[number] = value
            self.tell(tick, port, channel, number, value)

    def parameter(self, tick: int, port: int, channel: int, state: Channel, number: int, value: int) -> None:
        data = dict(state.parameters[state.selected])
        msb, lsb = data.get(6, 0), data.get(38, 0)
        match state.selected:
            case ("rpn", 0, 0):
                members = self.members_of_zone(port, channel) or [channel]
                for c in members:
                    self.channels[port, c].range = msb + lsb / 100
            case ("rpn", 0, 1):
                state.fine = ((msb << 7 | lsb) - 8192) * 100 / 8192
            case ("rpn", 0, 2):
                state.coarse = (msb - 64) * 100.0
            case ("rpn", 0, 3) if number == 6:
                state.tuning = (state.tuning[0] if state.tuning else 0, value)
            case ("rpn", 0, 4) if number == 6:
                state.tuning = (value, state.tuning[1] if state.tuning else 0)
            case ("rpn", 0, 6) if number == 6 and channel in (0, 15):
                self.zones[port, channel] = value
                state.range, state.bend = 2.0, 0
                for c in self.members(port, channel):
                    self.channels[port, c].range, self.channels[port, c].bend = 48.0, 0
        self.retune(tick, port)

    def sysex(self, tick: int, track: int, port: int, message: mido.Message) -> None:
        data = message.data
        if data[0] == 0x7F and data[2] == 0x08:
            if data[3] == 0x02:
                program, count, body = data[4], data[5], data[6:]
                assert len(body) == 4 * count
                for j in range(count):
                    key, semitone, high, low = body[4 * j : 4 * j + 4]
                    cents = (semitone + (high * 128 + low) / 16384) * 100 - key * 100
                    self.tables[port, 0, 0, program][key] = cents
            elif data[3] == 0x09:
                mask = (data[4] & 3) << 14 | data[5] << 7 | data[6]
                table = [((data[7 + 2 * j] << 7 | data[8 + 2 * j]) - 8192) * 100 / 8192 for j in range(12)]
                for c in range(16):
                    if mask >> c & 1:
                        self.channels[port, c].octave = list(table)
            self.retune(tick, port)
        else:
            self.kept.append((tick, track, message))
            if data[0] == 0x7E and data[2:4] in ((9, 1), (9, 3)):
                for p, c in list(self.channels):
                    if p == port:
                        self.channels[p, c] = Channel()
                self.retune(tick, port)

    def members(self, port: int, manager: int) -> list[int]:
        n = self.zones.get((port, manager), 0)
        return list(range(1, n + 1)) if manager == 0 else list(range(15 - n, 15))

    def manager(self, port: int, channel: int) -> int | None:
        return next((m for m in (0, 15) if channel in self.members(port, m)), None)

    def members_of_zone(self, port: int, channel: int) -> list[int]:
        manager = self.manager(port, channel)
        return [] if manager is None else self.members(port, manager)

    def cents(self, port: int, channel: int, key: int) -> float:
        state = self.channels[port, channel]
        value = state.bend * state.range * 100 / 8192 + state.fine + state.coarse + state.octave[key % 12]
        if state.tuning is not None:
            value += self.tables[port, 0, *state.tuning].get(key, 0.0)
        manager = self.manager(port, channel)
        if manager is not None:
            over = self.channels[port, manager]
            value += over.bend * over.range * 100 / 8192
        return value

    def sounding(self, port: int, channel: int) -> list[Heard]:
        channels = {channel, *self.members(port, channel)}
        return [
            h
            for (p, c, _), notes in self.live.items()
            if p == port and c in channels
            for h in notes
            if h.off is None
        ]

    def retune(self, tick: int, port: int) -> None:
        for (p, channel, key), playing in self.live.items():
            if p == port:
                for heard in playing:
                    cents = self.cents(port, channel, key)
                    course = heard.curve if heard.off is None else heard.ringing
                    before = (heard.ringing or heard.curve)[-1][1]
                    if abs(cents - before) > 1e-9:
                        course.append((tick, cents))


def hear(data: bytes) -> list[Heard]:
    """Notes of a file as a receiver sounds them, in playing order."""
    return Receiver(data).heard

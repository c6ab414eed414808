"""Messages of MIDI 1.0 and meta events in the words of MIDI 2.0; notes are not among them.

Section numbers are those of M2-104-UM v1.1.2. Banks go into program changes (7.4.9) and parameter numbers into
one message with their value (7.4.7): control changes 0, 6, 32, 38 and 98-101 are not sent.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import mido

from retune.constants import (
    BEND_CENTRE,
    CC_RESET_ALL_CONTROLLERS,
    CHANNELS_PER_PORT,
    DEFAULT_TEMPO_US,
)
from retune.encode import messages as old
from retune.encode import packets as build
from retune.encode.messages import RPN_NULL
from retune.encode.packets import Packet
from retune.errors import Remark

_Parameter = tuple[bool, tuple[int, int]]  # registered or not, (MSB, LSB)

_AT_START = {  # 14-bit values of registered parameters that nobody set, MIDI 1.0 p. 18
    (True, (0, 0)): 2 << 7,
    (True, (0, 1)): 64 << 7,
    (True, (0, 2)): 64 << 7,
}
_BANKS = (old.CC_BANK_MSB, old.CC_BANK_LSB)
_NUMBERS = {  # controller -> registered or not, MSB or not
    old.CC_RPN_MSB: (True, True),
    old.CC_RPN_LSB: (True, False),
    old.CC_NRPN_MSB: (False, True),
    old.CC_NRPN_LSB: (False, False),
}
_TEXTS = {
    "text": (build.METADATA, build.UNKNOWN_TEXT),
    "copyright": (build.METADATA, build.COPYRIGHT),
    "track_name": (build.METADATA, build.UNKNOWN_TEXT),
    "instrument_name": (build.METADATA, build.UNKNOWN_TEXT),
    "lyrics": (build.PERFORMANCE, build.LYRICS),
    "marker": (build.METADATA, build.UNKNOWN_TEXT),
    "cue_marker": (build.METADATA, build.UNKNOWN_TEXT),
    "program_name": (build.METADATA, build.UNKNOWN_TEXT),
    "device_name": (build.METADATA, build.UNKNOWN_TEXT),
}
_ADDRESSES = frozenset(
    ("channel_prefix", "midi_port", "end_of_track")
)  # say where; groups and channels do that
_MAJOR = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")
_MINOR = ("Abm", "Ebm", "Bbm", "Fm", "Cm", "Gm", "Dm", "Am", "Em", "Bm", "F#m", "C#m", "G#m", "D#m", "A#m")
_FIFTHS = {key: fifths for keys in (_MAJOR, _MINOR) for fifths, key in enumerate(keys, start=-7)}


@dataclass(slots=True)
class _Lane:
    """What a channel remembers between messages."""

    bank: tuple[int, int] | None = None
    chosen: _Parameter = (True, RPN_NULL)
    values: dict[_Parameter, int] = field(default_factory=dict)  # 14 bits


@dataclass(slots=True)
class Translator:
    """Follows the messages of a file in playing order."""

    is_smpte: bool = False  # ticks are times, so tempo events are not for the clip
    left_out: dict[str, int] = field(default_factory=dict)
    _lanes: dict[int, _Lane] = field(default_factory=dict)
    _open_sysex: set[int] = field(default_factory=set)  # groups

    def packets(self, message: mido.Message, group: int, *, is_first_track: bool) -> list[Packet]:
        """What a message becomes; nothing for what only prepares another message."""
        kind = message.type
        if "channel" in message.__dict__ and not message.is_meta:
            return self._channel(message, group * CHANNELS_PER_PORT + message.channel)
        if kind in _TEXTS:
            bank, status = _TEXTS[kind]
            if kind == "track_name" and is_first_track:
                status = build.CLIP_NAME
            return build.text(
                group, bank, status, unicode_of(message.name if "name" in kind else message.text)
            )
        if kind == "sysex":
            if old.is_reset(message):
                self._reset(group)
            return build.sysex7(group, bytes(message.data))
        if kind == "sysex_packet":
            return self._sysex_packet(message, group)
        return self._timing(message)

    def remarks(self) -> tuple[Remark, ...]:
        """One remark on everything that has no place in a clip."""
        if not self.left_out:
            return ()
        what = ", ".join(f"{kind.replace('_', ' ')} ({n})" for kind, n in sorted(self.left_out.items()))
        return (Remark(code="no-place-in-clip", message=f"a MIDI 2.0 clip has no place for: {what}"),)

    def _leave_out(self, kind: str) -> list[Packet]:
        self.left_out[kind] = self.left_out.get(kind, 0) + 1
        return []

    def _channel(self, message: mido.Message, lane: int) -> list[Packet]:
        kind = message.type
        if kind == "control_change":
            return self._control(lane, message.control, message.value)
        if kind == "pitchwheel":
            return [build.channel_bend(lane, message.pitch + BEND_CENTRE)]
        if kind == "program_change":
            return [build.program(lane, message.program, self._lane(lane).bank)]
        if kind == "aftertouch":
            return [build.channel_pressure(lane, message.value)]
        return [build.key_pressure(lane, message.note, message.value)]

    def _lane(self, lane: int) -> _Lane:
        return self._lanes.setdefault(lane, _Lane())

    def _control(self, lane: int, number: int, value: int) -> list[Packet]:
        state = self._lane(lane)
        if number in _BANKS:
            msb, lsb = state.bank or (0, 0)
            state.bank = (value, lsb) if number == old.CC_BANK_MSB else (msb, value)
            return []
        if number in _NUMBERS:
            registered, is_msb = _NUMBERS[number]
            msb, lsb = state.chosen[1] if state.chosen[0] == registered else RPN_NULL
            state.chosen = (registered, (value, lsb) if is_msb else (msb, value))
            return []
        if number in old.DATA_ENTRY:
            return self._data(lane, state, number, value)
        if number == CC_RESET_ALL_CONTROLLERS:
            state.chosen = (True, RPN_NULL)  # RP-015
        return [build.control(lane, number, value)]

    def _data(self, lane: int, state: _Lane, number: int, value: int) -> list[Packet]:
        """Data entry, as the new value of the whole parameter (MIDI 1.0 pp. 11-12)."""
        registered, name = state.chosen
        if name == RPN_NULL:
            return []
        whole = state.values.get(state.chosen, _AT_START.get(state.chosen, 0))
        if number == old.CC_DATA_MSB:
            whole = value << 7
        elif number == old.CC_DATA_LSB:
            whole = whole & ~127 | value
        else:
            whole = min(max(whole + (1 if number == old.CC_DATA_UP else -1), 0), 16383)
        state.values[state.chosen] = whole
        return [build.parameter(lane, name, whole, registered=registered)]

    def _reset(self, group: int) -> None:
        for channel in range(CHANNELS_PER_PORT):
            self._lanes.pop(group * CHANNELS_PER_PORT + channel, None)

    def _sysex_packet(self, message: mido.Message, group: int) -> list[Packet]:
        """A sysex in several events stays in several pieces; what else was escaped has no packet."""
        data, continues = bytes(message.data), group in self._open_sysex
        if message.status == 0xF7 and not continues:
            if data[:1] != b"\xf0":
                return self._leave_out("escaped bytes")
            data = data[1:]
        closes = data[-1:] == b"\xf7"
        data = data.removesuffix(b"\xf7")
        (self._open_sysex.discard if closes else self._open_sysex.add)(group)
        return build.sysex7(group, data, opens=not continues, closes=closes)

    def _timing(self, message: mido.Message) -> list[Packet]:
        kind = message.type
        if kind == "set_tempo":
            if self.is_smpte and message.tempo != DEFAULT_TEMPO_US:
                return self._leave_out("tempo of a file that counts in seconds")
            return [build.tempo(message.tempo)]
        if kind == "time_signature":
            return [
                build.meter(message.numerator, message.denominator, message.notated_32nd_notes_per_beat & 255)
            ]
        if kind == "key_signature" and message.key in _FIFTHS:
            return [build.key_signature(_FIFTHS[message.key], message.key)]
        return [] if kind in _ADDRESSES else self._leave_out(kind)


def unicode_of(text: str) -> str:
    """A text of a file, which has one character a byte: UTF-8 where it is valid, else Latin-1."""
    try:
        return text.encode("latin-1").decode("utf-8")
    except UnicodeError:
        return text

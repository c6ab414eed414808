"""Packets of a MIDI 2.0 clip file, read word by word.

CLIP: M2-116-U v1.0 (MIDI Clip File); UMP: M2-104-UM v1.1.2 (Universal MIDI Packet and MIDI 2.0 Protocol).
"""

from __future__ import annotations

from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from retune.errors import InputError

MAGIC = b"SMF2CLIP"  # CLIP 4
WORDS = (1, 1, 1, 2, 2, 4, 1, 1, 2, 2, 2, 3, 3, 4, 4, 4)  # packet size by message type, UMP 2.1.4
UTILITY, SYSTEM_MESSAGE, MIDI1_VOICE, SYSEX7, MIDI2_VOICE, FLEX, STREAM = 0, 1, 2, 3, 4, 0xD, 0xF
_TICKS_PER_QUARTER, _DELTA = 3, 4  # status of utility messages
_START_OF_CLIP, _END_OF_CLIP = 0x20, 0x21


@dataclass(slots=True)
class Clip:
    """The packets between header and end of clip, each with its tick; header packets stand at tick 0."""

    words: memoryview
    ticks_per_quarter: int = 0
    ticks: array[int] = field(default_factory=partial(array, "q"))
    starts: array[int] = field(default_factory=partial(array, "q"))  # of the packets among the words
    end_tick: int = 0

    def packets(self) -> Iterator[tuple[int, tuple[int, ...]]]:
        """Tick and words of each packet; not kept, for a long sysex is a million of them."""
        for tick, start in zip(self.ticks, self.starts, strict=True):
            yield tick, _packet_at(self.words, start)

    @property
    def n_groups(self) -> int:
        """One more than the highest group that any packet names."""
        first = np.asarray(self.words)[np.array(self.starts, np.int64)]
        return 1 + int((first >> 24 & 0xF).max(initial=0))


def is_clip(data: bytes) -> bool:
    """Whether the bytes begin like a clip file."""
    return data[: len(MAGIC)] == MAGIC


def read_clip(data: bytes, name: str) -> Clip:
    """All packets but clockstamps and stream messages. Raises `InputError` where the format is broken."""
    words = _words(data, name)
    clip, tick, state = Clip(words), 0, "header"
    for start, packet in _packets(words, name):
        kind, status = packet[0] >> 28, packet[0] >> 20 & 0xF
        if state == "ended":
            raise InputError(f"{name}, byte {_offset(start)}: there is data after the end of the clip")
        if kind == UTILITY:
            if status == _DELTA:
                tick += packet[0] & 0xFFFFF
            elif status == _TICKS_PER_QUARTER:
                clip.ticks_per_quarter = packet[0] & 0xFFFF
        elif kind == STREAM:
            message = packet[0] >> 16 & 0x3FF
            if message == _START_OF_CLIP:
                tick, state = 0, "playing"
            elif message == _END_OF_CLIP:
                clip.end_tick, state = tick, "ended"
        else:
            clip.ticks.append(0 if state == "header" else tick)
            clip.starts.append(start)
    if state != "ended":
        raise InputError(f"{name}: it has no end of clip; it was cut short, get a whole copy")
    if not clip.ticks_per_quarter:
        raise InputError(f"{name}: its header names no ticks per quarter")
    return clip


def _words(data: bytes, name: str) -> memoryview:
    if (len(data) - len(MAGIC)) % 4:
        raise InputError(
            f"{name}: its length is no whole number of 32-bit words; it was cut short, get a whole copy"
        )
    return np.frombuffer(data, dtype=">u4", offset=len(MAGIC)).astype(np.uint32).data


def _packets(words: memoryview, name: str) -> Iterator[tuple[int, tuple[int, ...]]]:
    """Index of the first word of each packet, and its words."""
    at = 0
    while at < len(words):
        packet = _packet_at(words, at)
        if len(packet) < WORDS[packet[0] >> 28]:
            raise InputError(f"{name}, byte {_offset(at)}: the last packet was cut short")
        yield at, packet
        at += len(packet)


def _packet_at(words: memoryview, start: int) -> tuple[int, ...]:
    return tuple(words[start : start + WORDS[words[start] >> 28]])


def _offset(word: int) -> int:
    """Byte of a file at which a word stands."""
    return len(MAGIC) + 4 * word


def sysex7_bytes(packet: tuple[int, ...]) -> tuple[int, bytes]:
    """(place in the message, bytes) of a packet of 7-bit sysex; places: 0 whole, 1 start, 2 middle, 3 end."""
    count = packet[0] >> 16 & 0xF
    data = (packet[0] & 0xFFFF) << 32 | packet[1]
    return packet[0] >> 20 & 0xF, data.to_bytes(6, "big")[:count]


def flex_text(packet: tuple[int, ...]) -> tuple[int, bytes]:
    """(place in the text, bytes) of a text packet; padding zeros stripped."""
    raw = b"".join(word.to_bytes(4, "big") for word in packet[1:])
    return packet[0] >> 22 & 3, raw.rstrip(b"\0")

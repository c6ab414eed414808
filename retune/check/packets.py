"""Packets of a MIDI 2.0 clip file, read word by word.

CLIP: M2-116-U v1.0 (MIDI Clip File); UMP: M2-104-UM v1.1.2 (Universal MIDI Packet and MIDI 2.0 Protocol).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

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

    ticks_per_quarter: int = 0
    ticks: list[int] = field(default_factory=list)
    packets: list[tuple[int, ...]] = field(default_factory=list)
    end_tick: int = 0


def is_clip(data: bytes) -> bool:
    """Whether the bytes begin like a clip file."""
    return data[: len(MAGIC)] == MAGIC


def read_clip(data: bytes, name: str) -> Clip:
    """All packets but clockstamps and stream messages. Raises `InputError` where the format is broken."""
    clip, tick, state = Clip(), 0, "header"
    for place, packet in _packets(data, name):
        kind, status = packet[0] >> 28, packet[0] >> 20 & 0xF
        if state == "ended":
            raise InputError(f"{name}, byte {place}: there is data after the end of the clip")
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
            clip.packets.append(packet)
    if state != "ended":
        raise InputError(f"{name}: it has no end of clip; it was cut short, get a whole copy")
    if not clip.ticks_per_quarter:
        raise InputError(f"{name}: its header names no ticks per quarter")
    return clip


def _packets(data: bytes, name: str) -> Iterator[tuple[int, tuple[int, ...]]]:
    if (len(data) - len(MAGIC)) % 4:
        raise InputError(
            f"{name}: its length is no whole number of 32-bit words; it was cut short, get a whole copy"
        )
    words = np.frombuffer(data, dtype=">u4", offset=len(MAGIC)).tolist()
    at = 0
    while at < len(words):
        size = WORDS[words[at] >> 28]
        if at + size > len(words):
            raise InputError(f"{name}, byte {len(MAGIC) + 4 * at}: the last packet was cut short")
        yield len(MAGIC) + 4 * at, tuple(words[at : at + size])
        at += size


def sysex7_bytes(packet: tuple[int, ...]) -> tuple[int, tuple[int, ...]]:
    """(place in the message, bytes) of a packet of 7-bit sysex; places: 0 whole, 1 start, 2 middle, 3 end."""
    count = packet[0] >> 16 & 0xF
    data = (packet[0] & 0xFFFF) << 32 | packet[1]
    return packet[0] >> 20 & 0xF, tuple(data.to_bytes(6, "big")[:count])


def flex_text(packet: tuple[int, ...]) -> tuple[int, bytes]:
    """(place in the text, bytes) of a text packet; padding zeros stripped."""
    raw = b"".join(word.to_bytes(4, "big") for word in packet[1:])
    return packet[0] >> 22 & 3, raw.rstrip(b"\0")

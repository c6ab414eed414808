"""Universal MIDI Packets and the MIDI Clip File, which the parser library does not write.

UMP: M2-104-UM v1.1.2 (UMP Format and MIDI 2.0 Protocol), section numbers below; CLIP: M2-116-U v1.0 (MIDI
Clip File); SCALE: M2-115-U (bit scaling). A packet is a tuple of 32-bit words. Only groups and channels 0-15
and data in range are handled.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator

import numpy as np

Packet = tuple[int, ...]

MAGIC = b"SMF2CLIP"  # CLIP 4
MAX_DELTA = (1 << 20) - 1  # a clockstamp has 20 bits; CLIP 3.2.2: one at least as often
NOOP: Packet = (0,)
START_OF_CLIP: Packet = (0xF0200000, 0, 0, 0)
END_OF_CLIP: Packet = (0xF0210000, 0, 0, 0)

PITCH_7_25 = 3  # registered per-note controller, 7.4.15.2
DETACH_AND_RESET = (
    3  # flags of per-note management, 7.4.5: encoders differ on which bit is which, both are safe
)
TEXT_UNKNOWN, TEXT_PROJECT, TEXT_CLIP_NAME, TEXT_COPYRIGHT = 0, 1, 3, 4  # status in bank 1, 7.5
TEXT_LYRICS = 1  # status in bank 2
METADATA, PERFORMANCE = 1, 2  # banks of text, 7.5


def scale_up(value: int, bits: int, to_bits: int) -> int:
    """A value in more bits: lowest, centre and highest stay lowest, centre and highest (SCALE 3.3)."""
    result = value << (to_bits - bits)
    if value <= 1 << (bits - 1):
        return result
    repeat_bits = bits - 1
    repeat = value & ((1 << repeat_bits) - 1)
    shift = to_bits - bits - repeat_bits
    while shift > -repeat_bits:
        result |= repeat << shift if shift >= 0 else repeat >> -shift
        shift -= repeat_bits
    return result


def voice(group: int, status: int, channel: int, first: int, second: int, data: int) -> Packet:
    """A MIDI 2.0 channel voice message (7.4)."""
    return (0x40000000 | group << 24 | status << 20 | channel << 16 | first << 8 | second, data)


def note_on(group: int, channel: int, key: int, velocity: int) -> Packet:
    """Note-on with a 7-bit velocity."""
    return voice(group, 0x9, channel, key, 0, scale_up(velocity, 7, 16) << 16)


def note_off(group: int, channel: int, key: int, velocity: int) -> Packet:
    """Note-off with a 7-bit velocity."""
    return voice(group, 0x8, channel, key, 0, scale_up(velocity, 7, 16) << 16)


def management(group: int, channel: int, key: int) -> Packet:
    """Cut sounding notes of a key loose from per-note controllers, and set those back (7.4.5)."""
    return voice(group, 0xF, channel, key, DETACH_AND_RESET, 0)


def pitch(group: int, channel: int, key: int, value: int) -> Packet:
    """Pitch of a key, in semitones with 25 fractional bits, A440 = 69 (7.4.15.2)."""
    return voice(group, 0x0, channel, key, PITCH_7_25, value)


def system_exclusive(group: int, data: bytes) -> Iterator[Packet]:
    """Sysex in packets of up to six bytes; `data` without F0 and F7 (7.7)."""
    return (
        (
            0x30000000
            | group << 24
            | form << 20
            | len(chunk) << 16
            | int.from_bytes(chunk[:2].ljust(2, b"\0"), "big"),
            int.from_bytes(chunk[2:].ljust(4, b"\0"), "big"),
        )
        for form, chunk in _chunks(data, 6)
    )


def system(group: int, data: bytes) -> Packet:
    """A system common or real-time message of one to three bytes (7.6)."""
    first, second, third = (*data, 0, 0)[:3]
    return (0x10000000 | group << 24 | first << 16 | second << 8 | third,)


def text(group: int, bank: int, status: int, words: str) -> Iterator[Packet]:
    """Text in packets of up to twelve bytes of UTF-8, for the whole group (7.5)."""
    return (
        (
            0xD0000000 | group << 24 | form << 22 | 1 << 20 | bank << 8 | status,
            *(int.from_bytes(chunk.ljust(12, b"\0")[i : i + 4], "big") for i in (0, 4, 8)),
        )
        for form, chunk in _chunks(words.encode(), 12)
    )


def _chunks(data: bytes, size: int) -> Iterator[tuple[int, bytes]]:
    """Pieces of data, each with its form: 0 whole, 1 start, 2 continuation, 3 end."""
    if len(data) <= size:
        yield 0, data
        return
    for at in range(0, len(data), size):
        yield 1 if at == 0 else 2 if at + size < len(data) else 3, data[at : at + size]


def tempo(microseconds_per_quarter: float) -> Packet:
    """Set tempo, in units of ten nanoseconds (7.5)."""
    return (0xD0100000, round(microseconds_per_quarter * 100), 0, 0)


def time_signature(numerator: int, denominator: int, thirty_seconds: int) -> Packet:
    """Set time signature; the denominator is sent as a power of two (7.5.4)."""
    power = denominator.bit_length() - 1
    return (0xD0100001, (numerator & 0xFF) << 24 | power << 16 | (thirty_seconds & 0xFF) << 8, 0, 0)


def key_signature(sharps: int, tonic: str) -> Packet:
    """Set key signature; `tonic` is a letter, A = 1 (7.5.8, from memory, unchecked)."""
    return (0xD0100005, (sharps & 0xF) << 28 | "ABCDEFG".index(tonic) + 1 << 24, 0, 0)


def write_clip(ticks_per_quarter: int, events: Iterable[tuple[int, Packet]], end_tick: int) -> bytes:
    """A clip file: header, packets with their ticks in order, end of clip (CLIP 4-7)."""
    words = array("I", (_clockstamp(0), 0x00300000 | ticks_per_quarter, _clockstamp(0), *START_OF_CLIP))
    now, add = 0, words.extend
    for tick, packet in events:
        if tick != now:
            add(_wait(tick - now))
            now = tick
        add(packet)
    gap = _wait(end_tick - now)
    add(gap if end_tick > now else (_clockstamp(0),))
    add(END_OF_CLIP)
    return MAGIC + np.array(words).astype(">u4").tobytes()


def _clockstamp(delta: int) -> int:
    return 0x00400000 | delta


def _wait(delta: int) -> list[int]:
    """Clockstamps for a stretch of any length."""
    words = []
    while delta > MAX_DELTA:
        words += [_clockstamp(MAX_DELTA), *NOOP]
        delta -= MAX_DELTA
    return [*words, _clockstamp(delta)]

"""Packets of MIDI 2.0, built as tuples of 32-bit words, and clip files made of them.

Sections: UMP is M2-104-UM v1.1.2 (Universal MIDI Packet and MIDI 2.0 Protocol), CLIP is M2-116-U v1.0 (MIDI
Clip File), SCALE is M2-115-U (bit scaling). `lane` is group · 16 + channel. Values must be legal already.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

Packet = tuple[int, ...]

MAGIC = b"SMF2CLIP"  # CLIP 4
LONGEST_DELTA = 0xFFFFF  # 20 bits, CLIP 3.2.2
MOST_TICKS_PER_QUARTER = 0xFFFF  # 16 bits
PITCH_STEPS = 1 << 25  # pitch 7.25: steps of a semitone, UMP 7.4.15.2
HIGHEST_PITCH = 0xFFFFFFFF

METADATA, PERFORMANCE = 1, 2  # banks of texts, UMP 7.5
UNKNOWN_TEXT, CLIP_NAME, COPYRIGHT = 0x00, 0x03, 0x04  # in bank METADATA
LYRICS = 0x01  # in bank PERFORMANCE (from memory, not checked)

_NOOP: Packet = (0,)
_DETACH_AND_RESET = 3  # both: two libraries number the two bits the other way round
_PITCH_7_25 = 3
_BYTES_PER_SYSEX7, _BYTES_PER_TEXT = 6, 12
_WHOLE, _START, _MIDDLE, _END = range(4)
_TEXT_ENCODING = "utf-8"


def scale_up(value: int, bits: int, to_bits: int) -> int:
    """Stretch a value so that lowest, centre and highest stay what they are (SCALE 3.3)."""
    result = value << (to_bits - bits)
    if value > 1 << (bits - 1):
        fill = value & ((1 << (bits - 1)) - 1)
        room = to_bits - bits - (bits - 1)
        fill = fill << room if room > 0 else fill >> -room
        while fill:
            result |= fill
            fill >>= bits - 1
    return result


_TO_16 = tuple(scale_up(value, 7, 16) for value in range(128))
_TO_32 = tuple(scale_up(value, 7, 32) for value in range(128))


def _voice(status: int, lane: int, first: int, second: int, data: int) -> Packet:
    """A MIDI 2.0 channel voice message (UMP 7.4)."""
    return 0x4 << 28 | lane >> 4 << 24 | status << 20 | (lane & 15) << 16 | first << 8 | second, data


def note_on(lane: int, index: int, velocity: int) -> Packet:
    """Note-on; `velocity` has 7 bits."""
    return _voice(0x9, lane, index, 0, _TO_16[velocity] << 16)


def note_off(lane: int, index: int, velocity: int) -> Packet:
    """Note-off; `velocity` has 7 bits."""
    return _voice(0x8, lane, index, 0, _TO_16[velocity] << 16)


def fresh_note(lane: int, index: int) -> Packet:
    """Per-note management: earlier notes of the index are cut loose, its controllers set back (UMP 7.4.5)."""
    return _voice(0xF, lane, index, _DETACH_AND_RESET, 0)


def note_pitch(lane: int, index: int, pitch: int) -> Packet:
    """Pitch 7.25 of a note index, in steps of `PITCH_STEPS` to the semitone (UMP 7.4.15.2)."""
    return _voice(0x0, lane, index, _PITCH_7_25, pitch)


def key_pressure(lane: int, index: int, value: int) -> Packet:
    """Poly pressure; `value` has 7 bits."""
    return _voice(0xA, lane, index, 0, _TO_32[value])


def control(lane: int, number: int, value: int) -> Packet:
    """Control change; `value` has 7 bits."""
    return _voice(0xB, lane, number, 0, _TO_32[value])


def program(lane: int, number: int, bank: tuple[int, int] | None) -> Packet:
    """Program change, with its bank (MSB, LSB) if one was chosen."""
    msb, lsb = bank or (0, 0)
    return _voice(0xC, lane, 0, int(bank is not None), number << 24 | msb << 8 | lsb)


def channel_pressure(lane: int, value: int) -> Packet:
    """Channel pressure; `value` has 7 bits."""
    return _voice(0xD, lane, 0, 0, _TO_32[value])


def channel_bend(lane: int, value: int) -> Packet:
    """Channel bend, 0-16383.

    Shifted, not stretched: a bend is a pitch, and stretching would move it by 1/8191.
    """
    return _voice(0xE, lane, 0, 0, value << 18)


def parameter(lane: int, number: tuple[int, int], value: int, *, registered: bool) -> Packet:
    """Registered (RPN) or assignable (NRPN) controller; `value` has 14 bits.

    Those of bank 0 are shifted, as their values are units, not levels: semitones and cents, or pitch.
    """
    is_unit = registered and number[0] == 0
    data = value << 18 if is_unit else scale_up(value, 14, 32)
    return _voice(0x2 if registered else 0x3, lane, *number, data)


def sysex7(group: int, data: bytes, *, opens: bool = True, closes: bool = True) -> list[Packet]:
    """System exclusive without F0 and F7, or a piece of one that was begun before or goes on later (UMP 7.7)."""
    pieces = [data[at : at + _BYTES_PER_SYSEX7] for at in range(0, len(data), _BYTES_PER_SYSEX7)] or [b""]
    packets: list[Packet] = []
    for form, piece in zip(_forms(len(pieces), opens=opens, closes=closes), pieces, strict=True):
        both = int.from_bytes(piece.ljust(_BYTES_PER_SYSEX7, b"\0"), "big")
        packets.append(
            (0x3 << 28 | group << 24 | form << 20 | len(piece) << 16 | both >> 32, both & 0xFFFFFFFF)
        )
    return packets


def _forms(count: int, *, opens: bool, closes: bool) -> list[int]:
    """Whole, start, middle or end for each packet of a message."""
    forms = [_MIDDLE] * count
    if opens:
        forms[0] = _START
    if closes:
        forms[-1] = _WHOLE if count == 1 and opens else _END
    return forms


def _flex(group: int, form: int, bank: int, status: int, words: tuple[int, int, int]) -> Packet:
    """Flex data addressed to a whole group (UMP 7.5)."""
    return 0xD << 28 | group << 24 | form << 22 | 1 << 20 | bank << 8 | status, *words


def tempo(microseconds: int) -> Packet:
    """Set tempo, from microseconds a quarter."""
    return _flex(0, _WHOLE, 0, 0x00, (100 * microseconds, 0, 0))


def meter(numerator: int, denominator: int, notated_32nds: int) -> Packet:
    """Set time signature (UMP 7.5.4); `denominator` is a power of two."""
    word = numerator << 24 | (denominator.bit_length() - 1) << 16 | notated_32nds << 8
    return _flex(0, _WHOLE, 0, 0x01, (word, 0, 0))


def is_tempo(packet: Packet) -> bool:
    """True for set tempo."""
    return packet[0] & 0xF000FFFF == 0xD0000000


def is_meter(packet: Packet) -> bool:
    """True for set time signature."""
    return packet[0] & 0xF000FFFF == 0xD0000001


def key_signature(fifths: int, tonic: str) -> Packet:
    """Key signature: sharps (flats negative), and the tonic's letter, A = 1 (layout from memory, not checked)."""
    word = (fifths & 0xF) << 28 | "ABCDEFG".index(tonic[0]) + 1 << 24
    return _flex(0, _WHOLE, 0, 0x05, (word, 0, 0))


def text(group: int, bank: int, status: int, content: str) -> list[Packet]:
    """A text, in as many packets as it needs."""
    raw = content.encode(_TEXT_ENCODING)
    pieces = [raw[at : at + _BYTES_PER_TEXT] for at in range(0, len(raw), _BYTES_PER_TEXT)] or [b""]
    packets = []
    for form, piece in zip(_forms(len(pieces), opens=True, closes=True), pieces, strict=True):
        padded = piece.ljust(_BYTES_PER_TEXT, b"\0")
        words = tuple(int.from_bytes(padded[at : at + 4], "big") for at in (0, 4, 8))
        packets.append(_flex(group, form, bank, status, (words[0], words[1], words[2])))
    return packets


def clip_file(ticks_per_quarter: int, events: Iterable[tuple[int, Packet]], end_tick: int) -> bytes:
    """A clip file of (tick, packet) in playing order (CLIP 5-7).

    Raises `ValueError` if the ticks per quarter are none of the 1 to 65535 that fit.
    """
    if not 1 <= ticks_per_quarter <= MOST_TICKS_PER_QUARTER:
        raise ValueError(f"{ticks_per_quarter} ticks per quarter do not fit in 16 bits")
    words = [*_delta(0), 0x3 << 20 | ticks_per_quarter, *_delta(0), 0xF020 << 16, 0, 0, 0]
    now = -1
    for tick, packet in events:
        if tick != now:
            words += _delta(tick - max(now, 0))
            now = tick
        words += packet
    words += [*_delta(end_tick - max(now, 0)), 0xF021 << 16, 0, 0, 0]
    return MAGIC + np.array(words, dtype=">u4").tobytes()


def _delta(ticks: int) -> Iterator[int]:
    """Clockstamp; longer times in several, each but the last with a packet that does nothing (CLIP 3.2.2)."""
    while ticks > LONGEST_DELTA:
        yield 0x4 << 20 | LONGEST_DELTA
        yield from _NOOP
        ticks -= LONGEST_DELTA
    yield 0x4 << 20 | ticks

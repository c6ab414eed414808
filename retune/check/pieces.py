"""Sysex that a Standard MIDI File sends in pieces, and raw bytes, as a MIDI 2.0 clip has them: whole.

Standard MIDI Files 1.0, 2.3; MIDI 1.0 Detailed Specification 4.2.1, tables V to VII.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from retune.check.sounding import PACKET, SYSTEM, Stored

_BEGIN, _END = 0xF0, 0xF7
_DATA_BYTES = {0xF1: 1, 0xF2: 2, 0xF3: 1, **dict.fromkeys((0xF6, 0xF8, 0xFA, 0xFB, 0xFC, 0xFE, 0xFF), 0)}


def whole_messages(stored: Iterable[Stored]) -> Iterator[Stored]:
    """The events with packets joined: each sysex at the tick of its end.

    What is never finished, or is no system message, has no place in a clip and is left out.
    """
    begun: dict[int, list[int]] = {}
    for tick, track, content in stored:
        if content[0] != PACKET:
            yield tick, track, content
            continue
        status, data = content[1], [int(str(byte)) for byte in content[2:]]
        if status == _BEGIN:
            begun[track] = [_BEGIN, *data]
        elif track in begun:
            begun[track] += data
        else:
            yield from ((tick, track, found) for found in _messages(data))
            continue
        if begun[track][-1] == _END:
            yield from ((tick, track, found) for found in _messages(begun.pop(track)))


def _messages(data: list[int]) -> list[tuple[object, ...]]:
    """Contents of the system messages in raw bytes; none if there is anything else among them."""
    found: list[tuple[object, ...]] = []
    while data:
        if data[0] == _BEGIN and _END in data:
            size = data.index(_END) + 1
            piece, found_one = data[1 : size - 1], ("sysex", *data[1 : size - 1])
        elif data[0] in _DATA_BYTES and len(data) > _DATA_BYTES[data[0]]:
            size = 1 + _DATA_BYTES[data[0]]
            piece, found_one = data[1:size], (SYSTEM, *data[:size])
        else:
            return []
        if any(byte > 0x7F for byte in piece):
            return []
        found.append(found_one)
        data = data[size:]
    return found

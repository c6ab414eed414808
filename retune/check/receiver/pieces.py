"""Sysex that a Standard MIDI File sends in pieces, and raw bytes, as a MIDI 2.0 clip has them: whole.

Standard MIDI Files 1.0, 2.3; MIDI 1.0 Detailed Specification 4.2.1, tables V to VII.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from retune.check.receiver.stored import SYSEX, SYSTEM, Content, Row

_BEGIN, _END = 0xF0, 0xF7
_DATA_BYTES = {0xF1: 1, 0xF2: 2, 0xF3: 1, **dict.fromkeys((0xF6, 0xF8, 0xFA, 0xFB, 0xFC, 0xFE, 0xFF), 0)}


def whole_messages(packets: Iterable[Row]) -> Iterator[Row]:
    """What packets say together: each sysex at the tick of its end.

    What is never finished, or is no system message, has no place in a clip and is left out.
    """
    begun: dict[int, bytearray] = {}
    for tick, track, (_, status, data) in packets:
        assert isinstance(data, bytes)
        if status == _BEGIN:
            begun[track] = bytearray((_BEGIN, *data))
        elif track in begun:
            begun[track] += data
        else:
            yield from ((tick, track, found) for found in _messages(data))
            continue
        if begun[track][-1] == _END:
            yield from ((tick, track, found) for found in _messages(bytes(begun.pop(track))))


def _messages(data: bytes) -> list[Content]:
    """Contents of the system messages in raw bytes; none if there is anything else among them."""
    found: list[Content] = []
    at = 0
    while at < len(data):
        if data[at] == _BEGIN and (end := data.find(_END, at)) > 0:
            stop, piece = end + 1, data[at + 1 : end]
            found.append((SYSEX, piece))
        elif data[at] in _DATA_BYTES and len(data) - at > _DATA_BYTES[data[at]]:
            stop = at + 1 + _DATA_BYTES[data[at]]
            piece = data[at + 1 : stop]
            found.append((SYSTEM, data[at:stop]))
        else:
            return []
        if not piece.isascii():
            return []
        at = stop
    return found

"""Sysex in pieces, and other bytes that a file may send as they are, as whole system messages.

Standard MIDI Files 1.0, 2.3: an F0 event without its closing F7 goes on in F7 events; an F7 event without such a
beginning sends whatever bytes it holds.
"""

from __future__ import annotations

from collections.abc import Callable

from retune.constants import SYSTEM_BYTES
from retune.score.packets import SysexPacket

SYSEX, END_OF_SYSEX = 0xF0, b"\xf7"


class RawBytes:
    """Joins pieces; `leave_out` is told what cannot be sent otherwise, "raw byte" or "unfinished sysex"."""

    def __init__(self, leave_out: Callable[[str], None]) -> None:
        self._leave_out = leave_out
        self._open: dict[int, bytearray] = {}  # track → a sysex whose pieces are coming in

    def take(self, track: int, message: SysexPacket) -> list[bytes]:
        """The system messages that are complete with this event of a track."""
        ends = message.data[-1:] == END_OF_SYSEX
        if message.status == SYSEX:
            self._abandon(track)
            whole = bytearray([SYSEX])
        else:
            whole = self._open.pop(track, bytearray())
        whole += message.data
        if whole[:1] == bytes([SYSEX]) and not ends:
            self._open[track] = whole
            return []
        content = bytes(whole)
        if (found := system_messages(content)) is None:
            self._leave_out("raw byte")
        return found or []

    def end(self) -> None:
        """A sysex that never ends is of no effect."""
        for track in tuple(self._open):
            self._abandon(track)

    def _abandon(self, track: int) -> None:
        if self._open.pop(track, None) is not None:
            self._leave_out("unfinished sysex")


def system_messages(content: bytes) -> list[bytes] | None:
    """System messages of raw bytes, one after the other; None if there is anything else among them."""
    found, at = [], 0
    while at < len(content):
        is_sysex = content[at] == SYSEX
        stop = content.find(END_OF_SYSEX, at) + 1 if is_sysex else at + SYSTEM_BYTES.get(content[at], 0)
        piece = content[at:stop]
        inner = piece[1:-1] if is_sysex else piece[1:]
        if not at < stop <= len(content) or any(byte > 0x7F for byte in inner):
            return None
        found.append(piece)
        at = stop
    return found

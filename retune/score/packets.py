"""Sysex events that mido has no message for: packets of a split sysex, escapes, and odd lengths.

mido reads `F7 <len> <bytes>` and an `F0` packet without its closing F7 as a plain sysex, and would write
either back as a different event. A `SysexPacket` keeps the bytes as they are.
"""

from __future__ import annotations

from mido.messages import BaseMessage
from mido.midifiles.meta import encode_variable_int


class SysexPacket(BaseMessage):  # type: ignore[misc]  # mido has no types
    """One `F0` or `F7` event of a file, byte for byte (SMF 2.3: packets and escapes).

    `status` is 0xF0 or 0xF7, `data` the bytes after the length. `type` is "sysex_packet".
    """

    is_meta = (
        True  # mido's writer takes the bytes of messages so marked as they are, and cancels running status
    )

    def __init__(self, status: int, data: bytes, time: int = 0) -> None:
        self.__dict__.update(type="sysex_packet", status=status, data=data, time=time)

    def bytes(self) -> list[int]:
        """Return the event as it stands in a file, without its delta time."""
        return [self.status, *encode_variable_int(len(self.data)), *self.data]

    def copy(self, **overrides: object) -> SysexPacket:
        """Return a copy, with attributes replaced."""
        twin = SysexPacket(self.status, self.data, self.time)
        twin.__dict__.update(overrides)
        return twin

    def _get_value_names(self) -> list[str]:
        return ["status", "data", "time"]

"""System exclusive messages that put a device back to its start.

General MIDI: RP-003 p. 3 and RP-024 4.9. The makers' own forms are from memory, unchecked.
"""

from __future__ import annotations

from collections.abc import Sequence

_GM = {1: "gm", 2: "gm", 3: "gm2"}  # on, off, level 2 on: F0 7E dd 09 xx F7
_GS_DATA_SET = (0x41, 0x42, 0x12)  # F0 41 dd 42 12 <address> <data> <checksum> F7
_GS_RESETS = ((0x40, 0x00, 0x7F), (0x00, 0x00, 0x7F))  # addresses
_XG_RESETS = ((0x4C, 0x00, 0x00, 0x7E, 0x00), (0x4C, 0x00, 0x00, 0x7F, 0x00))  # F0 43 1n … F7


def reset_of(data: Sequence[int]) -> str:
    """Name of the format that a sysex (bytes between F0 and F7) switches on, "" if it is no reset."""
    if len(data) == 4 and (data[0], data[2]) == (0x7E, 0x09):
        return _GM.get(data[3], "")
    if is_gs(data) and tuple(data[4:7]) in _GS_RESETS:
        return "gs"
    return "xg" if len(data) == 7 and data[0] == 0x43 and tuple(data[2:7]) in _XG_RESETS else ""


def tells_parts(data: Sequence[int]) -> bool:
    """Tell whether a sysex has a say in what is a drum kit: a reset, or a message about a rhythm part."""
    return bool(reset_of(data)) or rhythm_part(data) is not None


def rhythm_part(data: Sequence[int]) -> tuple[int, bool] | None:
    """Channel whose part a GS message makes rhythm or melody, and whether it is rhythm; None for any other message."""
    if not is_gs(data) or data[4] != 0x40 or data[5] >> 4 != 1 or data[6] != 0x15:
        return None
    block = data[5] & 15  # block 0 is channel 10, blocks 1-9 channels 1-9, blocks A-F channels 11-16
    return 9 if block == 0 else block - 1 if block <= 9 else block, data[7] > 0


def is_gs(data: Sequence[int]) -> bool:
    """Tell whether a sysex sets one value of the GS format."""
    return len(data) == 9 and (data[0], data[2], data[3]) == _GS_DATA_SET

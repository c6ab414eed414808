"""System exclusive messages that a receiver obeys: they reset a device, tune it, or say what its channels are.

Data are the bytes between F0 and F7. General MIDI: RP-003 p. 3, RP-024 4.9. The messages of GS and XG are from memory,
not checked.
"""

from __future__ import annotations

from retune.check.receiver.mts import read_tuning
from retune.units import fine_tuning_cents

GM, GM2, GS, XG = range(4)  # formats a reset switches on
_RHYTHM_PART = 0x15  # 40 1x 15: "use for rhythm part"


def system_on(data: tuple[int, ...]) -> int | None:
    """Format a reset switches on: GM, GM2 (RP-003, RP-024); GS and XG are from memory, not checked."""
    if len(data) == 4 and data[0] == 0x7E and data[2:] in ((9, 1), (9, 2), (9, 3)):
        return GM2 if data[3] == 3 else GM
    if _is_gs_data(data) and data[4:7] in ((0x40, 0, 0x7F), (0, 0, 0x7F)):
        return GS
    if len(data) == 7 and data[0] == 0x43 and data[2:] in ((0x4C, 0, 0, 0x7E, 0), (0x4C, 0, 0, 0x7F, 0)):
        return XG
    return None


def _is_gs_data(data: tuple[int, ...]) -> bool:
    """41 dd 42 12, three bytes of address, a value, a checksum (from memory, not checked)."""
    return len(data) == 9 and data[0] == 0x41 and data[2:4] == (0x42, 0x12)


def rhythm_part(data: tuple[int, ...]) -> tuple[int, bool] | None:
    """Channel of a GS message that makes its part rhythm or melody, and whether it is rhythm; None for any other."""
    if not _is_gs_data(data) or data[4] != 0x40 or data[5] >> 4 != 1 or data[6] != _RHYTHM_PART:
        return None
    return _gs_channel(data[5] & 15), data[7] > 0


def _gs_channel(block: int) -> int:
    """Block 0 is channel 10, blocks 1 to 9 are channels 1 to 9 (from memory, not checked)."""
    return 9 if block == 0 else block - 1 if block <= 9 else block


def master_tuning(data: tuple[int, ...]) -> tuple[bool, float] | None:
    """Master tuning (CA-025): whether it is the coarse one, and its cents; None for any other message."""
    if len(data) != 6 or data[0] != 0x7F or data[2:4] not in ((4, 3), (4, 4)):
        return None
    is_coarse = data[3] == 4
    return is_coarse, (data[5] - 64) * 100.0 if is_coarse else fine_tuning_cents(data[5] << 7 | data[4])


def is_heeded(data: tuple[int, ...]) -> bool:
    """True for a message that a receiver obeys."""
    return any(read(data) is not None for read in (system_on, rhythm_part, read_tuning, master_tuning))


def is_only_tuning(data: tuple[int, ...]) -> bool:
    """True for a message that only moves tuning tables."""
    return read_tuning(data) is not None

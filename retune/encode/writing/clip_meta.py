"""Texts, tempo, meter and key of a file as packets of a clip (CLIP App. B)."""

from __future__ import annotations

import mido

from retune.encode.writing import packets as ump
from retune.encode.writing.packets import Packet
from retune.score.text import readable

_TEXTS: dict[str, tuple[int, int]] = {
    "text": (ump.METADATA, ump.TEXT_UNKNOWN),
    "copyright": (ump.METADATA, ump.TEXT_COPYRIGHT),
    "track_name": (ump.METADATA, ump.TEXT_UNKNOWN),
    "instrument_name": (ump.METADATA, ump.TEXT_UNKNOWN),
    "lyrics": (ump.PERFORMANCE, ump.TEXT_LYRICS),
    "marker": (ump.METADATA, ump.TEXT_UNKNOWN),
    "cue_marker": (ump.METADATA, ump.TEXT_UNKNOWN),
    "program_name": (ump.METADATA, ump.TEXT_UNKNOWN),
    "device_name": (ump.METADATA, ump.TEXT_UNKNOWN),
}
"""Bank and status of the texts that SMF meta events become (CLIP App. B)."""


def meta_packets(group: int, message: mido.MetaMessage, *, is_smpte: bool) -> list[Packet] | None:
    """What says the same as a meta event, None if a clip has no place for it; tempo means nothing in SMPTE time."""
    kind = message.type
    if kind == "set_tempo":
        return [ump.tempo(message.tempo)] if message.tempo > 0 and not is_smpte else []
    if kind == "time_signature":
        return [_meter(message)]
    if kind == "key_signature":
        return [_key(message)]
    if kind in _TEXTS:
        text = message.text if hasattr(message, "text") else message.name
        return list(ump.text(group, *_TEXTS[kind], readable(text)))
    return [] if kind in ("midi_port", "channel_prefix") else None


def _meter(message: mido.MetaMessage) -> Packet:
    return ump.time_signature(message.numerator, message.denominator, message.notated_32nd_notes_per_beat)


def _key(message: mido.MetaMessage) -> Packet:
    """Sharps of a key signature from its name, such as "F#m"."""
    name = message.key
    minor = name.endswith("m")
    letter, sign = name[0], name.rstrip("m")[1:]
    fifths = "FCGDAEB".index(letter) - 1 + 7 * (sign == "#") - 7 * (sign == "b") - 3 * minor
    return ump.key_signature(fifths, letter)

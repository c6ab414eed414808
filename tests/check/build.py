"""Small files from commented bytes, and hearing them."""

from __future__ import annotations

import struct

from retune.check import Sounding, decode

END = "00 FF 2F 00"


def smf(*tracks: str, division: int = 480) -> bytes:
    """A Standard MIDI File around the given events in hex; each track gets its end."""
    chunks = []
    for events in tracks:
        body = bytes.fromhex(events + END)
        chunks.append(b"MTrk" + len(body).to_bytes(4, "big") + body)
    kind = 0 if len(tracks) == 1 else 1
    return b"MThd" + struct.pack(">LHHH", 6, kind, len(tracks), division) + b"".join(chunks)


def clip(words: str) -> bytes:
    """A MIDI 2.0 clip file around 32-bit words in hex; `0` stands for a word of zeros."""
    parts = [word.rjust(8, "0") for word in words.split()]
    return b"SMF2CLIP" + bytes.fromhex("".join(parts))


def steps(sounding: Sounding, note: int) -> list[tuple[int, int, float]]:
    """(start tick, end tick, cents rounded to 0.0001) of a note."""
    rows = sounding.curve[sounding.curve["note"] == note]
    return [(int(r["start_tick"]), int(r["end_tick"]), round(float(r["cents"]), 4)) for r in rows]


def cents_of(events: str, note: int = 0) -> float:
    """Pitch at the onset of a note of a one-track file."""
    return steps(decode(smf(events)), note)[0][2]

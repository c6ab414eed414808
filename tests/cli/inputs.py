"""Odd and broken input files, as bytes in commented hex or built with mido."""

from __future__ import annotations

import io

import mido

EMPTY = b""
TEXT = b"Dear choir,\nplease find the hymn attached.\n"

HEADER = bytes.fromhex(
    "4d546864 00000006"  # MThd, 6 bytes
    "0000 0001 01e0"  # format 0, one track, 480 ticks a quarter
)
DIVISION_ZERO = bytes.fromhex(
    "4d546864 00000006"
    "0000 0001 0000"  # no ticks in a quarter: time cannot be told
    "4d54726b 0000000d"  # MTrk, 13 bytes
    "00 90 3c 40"  # C4 down
    "83 60 80 3c 40"  # a quarter later up
    "00 ff 2f 00"
)
NO_NOTES = HEADER + bytes.fromhex(
    "4d54726b 0000000400 ff 2f 00"  # end of track
)
ONE_NOTE = HEADER + bytes.fromhex(
    "4d54726b 0000000d"
    "00 90 3c 40"  # C4 down
    "83 60 80 3c 40"  # a quarter later up
    "00 ff 2f 00"
)
ONLY_PERCUSSION = HEADER + bytes.fromhex(
    "4d54726b 0000000d"
    "00 99 24 40"  # channel 10: bass drum
    "83 60 89 24 40"
    "00 ff 2f 00"
)
TRUNCATED_HEADER = HEADER[:9]


def orchestra(parts: int, tones: int) -> bytes:
    """`parts` tracks of different programs, each with a chord of `tones` pitch classes: parts x tones tunings."""
    file = mido.MidiFile(ticks_per_beat=480)
    chord = [60, 64, 67, 70, 74][:tones]
    for part in range(parts):
        track = mido.MidiTrack()
        track.append(mido.Message("program_change", channel=part, program=part * 8))
        track += [mido.Message("note_on", channel=part, note=key, velocity=64) for key in chord]
        track += [
            mido.Message("note_off", channel=part, note=key, time=1920 if key == 60 else 0) for key in chord
        ]
        file.tracks.append(track)
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()

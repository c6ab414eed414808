"""Tracks to bytes: the bytes of the standard, one end of track at its tick, messages shared freely."""

from __future__ import annotations

import mido
import numpy as np
import pytest

from retune.errors import OutputError
from retune.score import Track, moved, read_score, write_tracks
from retune.score.events import vlq_bytes
from tests.score.build import END, events, smf, write


def track(*timed: tuple[int, mido.Message], end: int = 0) -> Track:
    return Track(
        name="",
        ticks=np.array([tick for tick, _ in timed], dtype=np.int64),
        messages=[message for _, message in timed],
        end_tick=end,
    )


def test_header_and_smallest_track_of_the_standard() -> None:
    """SMF 2.1: format 1, 3 tracks, 480 to the quarter; a track of nothing but its end."""
    assert write_tracks(format=1, division=480, tracks=[track()] * 3) == bytes.fromhex(
        "4D 54 68 64 00 00 00 06 00 01 00 03 01 E0" + "4D 54 72 6B 00 00 00 04 00 FF 2F 00" * 3
    )


@pytest.mark.parametrize(
    ("value", "quantity"),
    [
        (0x00, "00"), (0x40, "40"), (0x7F, "7F"), (0x80, "81 00"), (0x2000, "C0 00"), (0x3FFF, "FF 7F"),
        (0x4000, "81 80 00"), (0x1FFFFF, "FF FF 7F"), (0x200000, "81 80 80 00"), (0x0FFFFFFF, "FF FF FF 7F"),
        (480, "83 60"),
    ],
)  # fmt: skip
def test_quantities_of_the_standard(value: int, quantity: str) -> None:
    """SMF 1.1, the table of variable-length quantities, read and written."""
    assert vlq_bytes(value) == bytes.fromhex(quantity)
    data = smf(f"{quantity} C0 05")
    assert read_score(data).tracks[0].ticks.tolist() == [value]
    assert write(read_score(data)) == data


def test_status_is_given_anew_after_meta_and_sysex() -> None:
    """SMF 2.3: meta events and sysex cancel running status; between them it is used."""
    data = smf("00 B0 07 40  00 0A 40  00 FF 01 00  00 B0 0B 40  00 F0 02 01 F7  00 B0 01 40")
    assert write(read_score(data)) == data


def test_end_of_track_keeps_its_tick() -> None:
    score = read_score(smf("00 90 3C 40  60 80 3C 40  83 60 FF 2F 00"))
    assert score.tracks[0].end_tick == 96 + 480
    assert write(score).endswith(bytes.fromhex("83 60 FF 2F 00"))
    assert write(score).count(END[1:]) == 1


def test_a_message_may_stand_in_several_places() -> None:
    bend = mido.Message("pitchwheel", channel=3, pitch=0)
    data = write_tracks(
        format=1, division=96, tracks=[track((5, bend), (7, bend), end=9), track((100, bend), end=100)]
    )
    assert [[message.time for message in messages] for messages in events(data)] == [[5, 2, 2], [100, 0]]


def test_moved_message_is_a_copy_on_another_channel() -> None:
    note = mido.Message("note_on", channel=0, note=60, velocity=5, time=17)
    assert moved(note, 4) == mido.Message("note_on", channel=4, note=60, velocity=5, time=17)
    assert note.channel == 0


@pytest.mark.parametrize(
    ("tracks", "line"),
    [
        ([track(), track()], "format 0 holds one track, not 2"),
        ([track((5, mido.Message("note_on")), (4, mido.Message("note_on")), end=9)], "not in order of time"),
        ([track((5, mido.Message("note_on")), end=4)], "not in order of time"),
        (
            [track((0x10000000, mido.Message("note_on")), end=0x10000000)],
            "268435456 ticks between two events",
        ),
    ],
)
def test_what_no_file_can_hold(tracks: list[Track], line: str) -> None:
    with pytest.raises(OutputError, match=line):
        write_tracks(format=0, division=480, tracks=tracks)

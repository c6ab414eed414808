"""The parser is given each different event once; what comes of it is what mido reads from the whole file."""

from __future__ import annotations

import io

import mido
import numpy as np
from hypothesis import given, settings

from retune.score import read_score
from retune.score.parse import parse
from retune.score.repair import repair
from tests.score.build import smf
from tests.score.test_round_trip import midi_files


def read_by_mido(data: bytes) -> list[list[tuple[int, mido.Message]]]:
    """Ticks and messages of all tracks."""
    tracks = mido.MidiFile(file=io.BytesIO(data)).tracks
    ticks = (np.cumsum([message.time for message in track]).tolist() for track in tracks)
    return [list(zip(*pair, strict=True)) for pair in zip(ticks, tracks, strict=True)]


def same(ours: mido.Message, theirs: mido.Message) -> bool:
    return {**vars(ours), "time": 0} == {**vars(theirs), "time": 0}


def assert_read_alike(data: bytes) -> None:
    messages, tracks = parse(repair(data))
    for (ticks, which), theirs in zip(tracks, read_by_mido(data), strict=True):
        assert ticks.tolist() == [tick for tick, _ in theirs]
        assert all(same(messages[k], message) for k, (_, message) in zip(which, theirs, strict=True))


@settings(deadline=None)
@given(midi_files())
def test_messages_are_those_that_mido_reads(data: bytes) -> None:
    assert_read_alike(data)


def test_running_status_of_two_and_of_one_data_bytes() -> None:
    """SMF 1.1: a status byte holds on; program changes and channel pressure have one data byte."""
    assert_read_alike(
        smf(
            "00 90 3C 40  60 3C 00  81 00 3E 40  83 FF 7F 3E 00  00 C1 05  00 06  81 00 07"
            "00 D1 10  10 11  00 B0 07 64  00 0A 40  00 E0 00 40  05 01 40"
        )
    )


def test_equal_events_are_one_message_in_all_tracks() -> None:
    again = bytes.fromhex("00 90 3C 40  60 80 3C 40  00 90 3C 40  60 80 3C 40")
    tracks = read_score(smf(again, again)).tracks
    assert len({id(message) for track in tracks for message in track.messages}) == 2
    assert [track.ticks.tolist() for track in tracks] == [[0, 96, 96, 192]] * 2


def test_events_set_aside_stand_in_their_places() -> None:
    """An escape (SMF 2.3) and a meta event of an unknown type, twice the same, at different ticks."""
    messages, [(ticks, which)] = parse(repair(smf("10 F7 02 F3 01  20 FF 60 01 2A  30 FF 60 01 2A")))
    assert ticks.tolist() == [0x10, 0x30, 0x60, 0x60]
    kinds = [messages[k].type for k in which]
    assert kinds == ["sysex_packet", "unknown_meta", "unknown_meta", "end_of_track"]


def test_delta_times_of_events_left_out_add_up() -> None:
    """To more than the four bytes of SMF 1.1: real-time events have no place in a file."""
    _, [(ticks, _)] = parse(repair(smf("FF FF FF 7F F8  FF FF FF 7F F8  00 90 3C 40  00 80 3C 00")))
    assert ticks.tolist() == [2 * 0x0FFFFFFF] * 3

"""Reading and writing back: nothing is lost, notes are what an independent reader finds."""

from __future__ import annotations

import io

import mido
import numpy as np

from retune.score import read_score, write_tracks


def smf(*tracks: bytes, division: int = 480, format_: int | None = None) -> bytes:
    """A file around the given events, each closed by an end-of-track event."""
    format_ = (0 if len(tracks) == 1 else 1) if format_ is None else format_
    header = b"MThd" + (6).to_bytes(4, "big") + format_.to_bytes(2, "big") + len(tracks).to_bytes(2, "big")
    chunks = []
    for events in tracks:
        body = events + bytes.fromhex("00 FF 2F 00")
        chunks.append(b"MTrk" + len(body).to_bytes(4, "big") + body)
    return header + (division & 0xFFFF).to_bytes(2, "big") + b"".join(chunks)


def test_one_note() -> None:
    score = read_score(smf(bytes.fromhex("00 90 3C 40  83 60 80 3C 40")))
    (note,) = score.notes
    assert (note["onset_tick"], note["release_tick"], note["sounding_end_tick"]) == (0, 480, 480)
    assert (note["key"], note["velocity"], note["on_event"], note["off_event"]) == (60, 64, 0, 1)
    assert score.clock.seconds(480) == 0.5


def test_untouched_score_writes_the_same_events() -> None:
    data = smf(
        bytes.fromhex("00 FF 03 01 41  00 90 3C 40  83 60 80 3C 40"),
        bytes.fromhex("00 C1 05 60 91 40 40 10 40 00"),
    )
    score = read_score(data)
    written = write_tracks(format=score.format, division=score.division, tracks=score.tracks)
    before, after = (mido.MidiFile(file=io.BytesIO(d)) for d in (data, written))
    assert [list(t) for t in before.tracks] == [list(t) for t in after.tracks]
    assert np.array_equal(read_score(written).notes, score.notes)

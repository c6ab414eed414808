"""Nothing is lost on the way in and out, and independent readers agree on what was read."""

from __future__ import annotations

import io
from collections import Counter

import mido
import numpy as np
import pretty_midi
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.score import Score, read_score
from tests.score.build import codes, events, write
from tests.score.real_music import WORKS, real_file

BYTE = st.integers(0, 127)
CHANNEL = st.integers(0, 15)
TEXT = st.text(st.characters(max_codepoint=255), max_size=12)


def message(kind: str, **fields: st.SearchStrategy[object]) -> st.SearchStrategy[mido.Message]:
    build = mido.Message if kind in ("sysex", "program_change") or "channel" in fields else mido.MetaMessage
    if kind == "channel_prefix":
        build = mido.MetaMessage
    return st.builds(build, st.just(kind), time=st.one_of(st.just(0), st.integers(0, 5000)), **fields)


MESSAGES = st.one_of(
    message("note_on", channel=CHANNEL, note=BYTE, velocity=BYTE),
    message("note_off", channel=CHANNEL, note=BYTE, velocity=BYTE),
    message("control_change", channel=CHANNEL, control=BYTE, value=BYTE),
    message("program_change", channel=CHANNEL, program=BYTE),
    message("pitchwheel", channel=CHANNEL, pitch=st.integers(-8192, 8191)),
    message("aftertouch", channel=CHANNEL, value=BYTE),
    message("polytouch", channel=CHANNEL, note=BYTE, value=BYTE),
    message("sysex", data=st.lists(BYTE, max_size=20)),
    message("set_tempo", tempo=st.integers(1, 0xFFFFFF)),
    message("time_signature", numerator=st.integers(1, 255), denominator=st.sampled_from((1, 2, 4, 8, 16))),
    message("key_signature", key=st.sampled_from(("C", "F#m", "Cb", "A#m"))),
    message("midi_port", port=st.integers(0, 3)),
    message("channel_prefix", channel=CHANNEL),
    message("sequence_number", number=st.integers(0, 0xFFFF)),
    message("sequencer_specific", data=st.lists(st.integers(0, 255), max_size=8)),
    *(message(kind, text=TEXT) for kind in ("text", "copyright", "lyrics", "marker", "cue_marker")),
    *(message(kind, name=TEXT) for kind in ("track_name", "instrument_name", "device_name")),
)


def with_releases(track: list[mido.Message]) -> list[mido.Message]:
    """The track on one port, with a release at the end for every note-on."""
    track = [m for m in track if m.type not in ("midi_port", "note_off")]
    ons = [m for m in track if m.type == "note_on"]
    return track + [mido.Message("note_off", channel=m.channel, note=m.note, time=1) for m in ons]


@st.composite
def midi_files(draw: st.DrawFn, released: bool = False) -> bytes:
    """Files of any events the format has, as mido writes them; `released`: no note lacks its release."""
    tracks = draw(st.lists(st.lists(MESSAGES, max_size=25), min_size=1, max_size=3))
    if released:
        tracks = [with_releases(track) for track in tracks]
    file = mido.MidiFile(
        type=0 if len(tracks) == 1 else 1,
        ticks_per_beat=draw(st.integers(1, 32767)),
        tracks=[mido.MidiTrack(track) for track in tracks],
    )
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


@settings(deadline=None)
@given(midi_files(released=True))
def test_sound_file_is_written_back_byte_for_byte(data: bytes) -> None:
    """But for a release that stands before its note of no length and changes places with it."""
    score = read_score(data)
    if score.remarks:
        assert {remark.code for remark in score.remarks} == {"release-first"}
        assert timed(write(score)) == timed(data)
    else:
        assert write(score) == data


@settings(deadline=None)
@given(midi_files())
def test_only_missing_releases_are_added(data: bytes) -> None:
    score = read_score(data)
    assert {remark.code for remark in score.remarks} <= {"unreleased", "release-first"}
    for before, after in zip(timed(data), timed(write(score)), strict=True):
        added = Counter(after)
        added.subtract(before)
        assert all(count >= 0 and (not count or "note_off" in text) for (_, text), count in added.items())
    assert codes(write(score)) == []


@settings(deadline=None)
@given(midi_files())
def test_note_table_points_at_its_events(data: bytes) -> None:
    score = read_score(data)
    ons = sum(m.type == "note_on" and m.velocity > 0 for track in score.tracks for m in track.messages)
    assert len(score.notes) == ons
    for row in score.notes:
        track, part = score.tracks[row["track"]], score.parts[row["part"]]
        on = track.messages[row["on_event"]]
        assert (on.note, on.velocity, on.channel) == (row["key"], row["velocity"], part.channel)
        assert (track.ticks[row["on_event"]], part.track) == (row["onset_tick"], row["track"])
        off = track.messages[row["off_event"]]
        assert (off.note, off.channel) == (row["key"], part.channel)
        assert track.ticks[row["off_event"]] == row["release_tick"]
    assert np.all(score.notes["onset_tick"] <= score.notes["release_tick"])
    assert np.all(score.notes["release_tick"] <= score.notes["sounding_end_tick"])
    assert np.all(score.notes["sounding_end_tick"] <= score.end_tick)
    assert np.all(np.diff(score.notes["onset_tick"]) >= 0)


@settings(deadline=None)
@given(midi_files())
def test_reading_twice_gives_the_same(data: bytes) -> None:
    first, second = read_score(data), read_score(data)
    assert np.array_equal(first.notes, second.notes)
    assert (first.parts, first.remarks, first.end_tick) == (second.parts, second.remarks, second.end_tick)


def timed(data: bytes) -> list[list[tuple[int, str]]]:
    """Tick and text of every event, those of one tick in any order."""
    tracks = []
    for messages in events(data):
        ticks = np.cumsum([message.time for message in messages]).tolist()
        texts = [str(message.copy(time=0)) for message in messages]
        tracks.append(sorted(zip(ticks, texts, strict=True)))
    return tracks


@pytest.mark.parametrize("work", WORKS)
class TestRealMusic:
    def test_same_events_at_the_same_ticks(self, work: str) -> None:
        data = real_file(work)
        score = read_score(data)
        assert timed(write(score)) == timed(data)
        if "release-first" not in [remark.code for remark in score.remarks]:
            assert events(write(score)) == events(data)

    def test_pretty_midi_finds_the_same_notes(self, work: str) -> None:
        """Keys with equal notes at once are left out: there it ends both at the first release."""
        data = real_file(work)
        score = read_score(data)
        keys = [key for key in range(128) if is_simple(score, key)]
        theirs = sorted(
            (note.start, note.pitch, note.end, note.velocity)
            for instrument in pretty_midi.PrettyMIDI(io.BytesIO(data)).instruments
            for note in instrument.notes
            if note.pitch in keys
        )
        table = score.notes[np.isin(score.notes["key"], keys)]
        start, end = score.clock.seconds(table["onset_tick"]), score.clock.seconds(table["release_tick"])
        ours = sorted(zip(start, table["key"], end, table["velocity"], strict=True))
        assert len(theirs) > 100
        assert np.asarray(ours) == pytest.approx(np.asarray(theirs), abs=1e-6)

    def test_pretty_midi_finds_the_same_bars(self, work: str) -> None:
        """It counts a bar twice where a signature is repeated."""
        data = real_file(work)
        score = read_score(data)
        downbeats = np.unique(score.clock.ticks(pretty_midi.PrettyMIDI(io.BytesIO(data)).get_downbeats()))
        bars, beats = score.meters.bar_beat(downbeats)
        assert beats == pytest.approx(1.0, abs=0.01)
        assert bars.tolist() == list(range(1, len(downbeats) + 1))


def is_simple(score: Score, key: int) -> bool:
    """Tell whether no two notes of the key sound at once in a part, and none is empty."""
    mine = score.notes[score.notes["key"] == key]
    for part in np.unique(mine["part"]):
        notes = mine[mine["part"] == part]
        if np.any(notes["release_tick"][:-1] > notes["onset_tick"][1:]):
            return False
    return bool(np.all(mine["release_tick"] > mine["onset_tick"]))

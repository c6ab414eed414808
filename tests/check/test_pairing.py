"""Note-ons and note-offs: the columns against a plain walk, real files against pretty_midi."""

from __future__ import annotations

import io
import itertools
import warnings
from collections import defaultdict, deque

import numpy as np
import pretty_midi
import pytest
from hypothesis import given
from hypothesis import strategies as st

from retune.check import check, decode
from retune.check.receiver.pairing import pair_notes
from retune.options import ENCODINGS, Options
from retune.pipeline import convert
from retune.score import read_score
from tests.check.build import smf
from tests.check.music import WORKS, real_file


@given(st.lists(st.tuples(st.integers(0, 3), st.sampled_from([1, -1])), max_size=60))
def test_first_in_first_out_like_a_queue_for_each_key(events: list[tuple[int, int]]) -> None:
    waiting: dict[int, deque[int]] = defaultdict(deque)
    expected: dict[int, int] = {}
    for row, (lane, step) in enumerate(events):
        if step > 0:
            waiting[lane].append(row)
            expected[row] = -1
        elif waiting[lane]:
            expected[waiting[lane].popleft()] = row
    for lane in [lane for lane, rows in waiting.items() if rows]:  # one more note-off for each note left open
        for _ in range(len(waiting[lane])):
            expected[waiting[lane].popleft()] = len(events)
            events.append((lane, -1))
    lanes = np.array([lane for lane, _ in events], dtype=np.int64)
    starts = np.array([step for _, step in events], dtype=np.int64)
    assert pair_notes(lanes, starts).tolist() == [expected[row] for row in sorted(expected)]


def test_missing_note_off_does_not_lengthen_what_follows() -> None:
    """On, on, off, then on, off: the first note-off ends both."""
    notes = decode(smf("00 90 3C 40 10 90 3C 40 10 80 3C 40 10 90 3C 40 10 80 3C 40")).notes
    assert notes["release_tick"].tolist() == [0x20, 0x20, 0x40]


def test_running_status_and_velocity_0() -> None:
    """M1 A-1: 90 3C 27 3C 00 3E 29 is on C 39, off C, on D 41; velocity 0 releases with velocity 64."""
    notes = decode(smf("00 90 3C 27 60 3C 00 00 3E 29 60 3E 00")).notes
    assert notes["key"].tolist() == [60, 62]
    assert notes["velocity"].tolist() == [39, 41]
    assert notes["release_tick"].tolist() == [0x60, 0xC0]
    assert notes["release_velocity"].tolist() == [64, 64]


def test_note_never_released_ends_with_its_track() -> None:
    notes = decode(smf("00 90 3C 40 60 FF 01 01 78", "81 40 91 40 40 10 81 40 20")).notes
    assert notes["release_tick"].tolist() == [0x60, 0xD0]


def test_all_notes_off_ends_what_nothing_else_ends() -> None:
    """M1 p. 20: 123 must not replace note-offs, so a note with a note-off ends there."""
    notes = decode(smf("00 90 3C 40 00 90 40 40 30 B0 7B 00 30 80 3C 40 30 FF 01 01 78")).notes
    assert notes["release_tick"].tolist() == [0x60, 0x30]


@pytest.mark.parametrize("pedal", ["B0 40", "B0 42", "B0 43"])
def test_all_sound_off_silences_a_key_that_is_down(pedal: str) -> None:
    """M1 p. 20: 120 turns all sound off; what is silent no pedal can hold (CC67 never holds).

    Pedal down, key at 0, All Sound Off at 0x60, release at 0xC0, pedal up at 0x1B0; then another note, as ever.
    """
    note = decode(
        smf(f"00 90 3C 40 00 {pedal} 7F 60 B0 78 00 60 80 3C 40 81 70 {pedal} 00 00 90 40 40 20 80 40 40")
    ).notes
    assert note["onset_tick"].tolist() == [0, 0x1B0]
    assert note["release_tick"].tolist() == [0xC0, 0x1D0]
    assert note["sounding_end_tick"].tolist() == [0x60, 0x1D0]


def test_pedals() -> None:
    """GM2 3.3.9: sostenuto holds what is down when it goes down; sustain holds whatever is released under it."""
    middle = "00 90 3C 40 10 B0 42 7F 00 90 40 40 10 80 3C 40 00 80 40 40 40 B0 42 00"
    assert decode(smf(middle)).notes["sounding_end_tick"].tolist() == [0x60, 0x20]
    both = "00 90 3C 40 10 B0 42 7F 10 80 3C 40 10 B0 40 7F 10 B0 42 00 10 B0 40 00"
    assert decode(smf(both)).notes["sounding_end_tick"].tolist() == [0x50]
    reset = "00 B0 40 7F 00 90 3C 40 10 80 3C 40 10 B0 79 00 10 B0 40 00"
    assert decode(smf(reset)).notes["sounding_end_tick"].tolist() == [0x20]
    silenced = "00 B0 40 7F 00 90 3C 40 10 80 3C 40 10 B0 78 00 10 B0 40 00"
    assert decode(smf(silenced)).notes["sounding_end_tick"].tolist() == [0x20]
    middle_for_good = "00 90 3C 40 10 B0 42 7F 10 80 3C 40 30 FF 01 01 78"
    assert decode(smf(middle_for_good)).notes["sounding_end_tick"].tolist() == [0x50]
    never = "00 B0 40 7F 00 90 3C 40 10 80 3C 40 30 FF 01 01 78"
    assert decode(smf(never)).notes["sounding_end_tick"].tolist() == [0x40]


@pytest.mark.parametrize(("value", "end"), [("40", 0x20), ("3F", 0x10)])
def test_pedal_is_down_from_64_on(value: str, end: int) -> None:
    """GM2 3.3: a switch controller is on at 64 and above."""
    events = f"00 B0 40 {value} 00 90 3C 40 10 80 3C 40 10 B0 40 00"
    assert decode(smf(events)).notes["sounding_end_tick"].tolist() == [end]


def test_frame_time_gives_quarters_of_half_a_second() -> None:
    """SMF 2.1: division E2 50 is 30 frames of 80 ticks: 2400 a second."""
    assert decode(smf("00 90 3C 40 60 80 3C 40", division=0xE250)).ticks_per_quarter == 1200.0
    assert decode(smf("00 90 3C 40 60 80 3C 40", division=0xE728)).ticks_per_quarter == 500.0


@pytest.mark.parametrize("work", WORKS)
def test_real_music_has_the_notes_pretty_midi_finds(work: str) -> None:
    """All notes but those that share key and channel with one still sounding (pretty_midi ends both at once)."""
    data = real_file(work)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pretty_midi on tempo events outside the first track
        other = pretty_midi.PrettyMIDI(io.BytesIO(data))
    expected = {
        (other.time_to_tick(note.start), other.time_to_tick(note.end), note.pitch, note.velocity)
        for instrument in other.instruments
        for note in instrument.notes
    }
    notes = decode(data).notes
    by_key: dict[tuple[int, ...], list[tuple[int, int, int]]] = defaultdict(list)
    for on, off, key, velocity, channel in notes[
        ["onset_tick", "release_tick", "key", "velocity", "channel"]
    ].tolist():
        by_key[channel, key].append((on, off, velocity))
    alone = {
        (on, off, key, velocity)
        for (_, key), line in by_key.items()
        for on, off, velocity in line
        if sum(start < off and on < end for start, end, _ in line) == 1
    }
    assert len(alone) > 0.7 * len(notes)
    assert alone <= expected


TWO_TRACKS = ("00 99 24 40 20 89 24 40", "10 99 24 50 08 89 24 40")


def test_equal_keys_of_two_tracks_on_one_channel_end_each_in_its_track() -> None:
    """M1 A-4 leaves it to the receiver; a track is one player, as `retune.score` reads it."""
    data = smf(*TWO_TRACKS)
    assert decode(data).notes["release_tick"].tolist() == [0x20, 0x18]
    assert read_score(data).notes["release_tick"].tolist() == [0x20, 0x18]
    assert check(data, data).problems == ()


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_two_drum_tracks_may_share_a_key(encoding: str) -> None:
    data = smf(*TWO_TRACKS, "00 90 3C 40 00 90 40 40 40 80 3C 40 00 80 40 40")
    assert convert(data, Options(encoding=encoding)).checked.problems == ()


LEGATO = "00 B0 7E 01 00 90 3C 40 30 90 40 40 10 80 3C 40 30 90 43 40 10 80 40 40 30 80 43 40"


def test_mono_mode_plays_the_newest_note() -> None:
    """M1 p. 20: 126 is mono mode on, 127 poly mode on; which of two keys sounds is common practice, no source."""
    notes = decode(smf(LEGATO)).notes
    assert notes["sounding_end_tick"].tolist() == [0x30, 0x70, 0xB0]
    assert notes["release_tick"].tolist() == [0x40, 0x80, 0xB0]
    poly = decode(smf(LEGATO.replace("30 90 43", "00 B0 7F 00 30 90 43"))).notes
    assert poly["sounding_end_tick"].tolist() == [0x30, 0x80, 0xB0]
    other_channel = decode(smf(LEGATO.replace("B0 7E 01", "B1 7E 01"))).notes
    assert other_channel["sounding_end_tick"].tolist() == [0x40, 0x80, 0xB0]


def event(delta: int, status: int, key: int) -> str:
    return f" {0x80 | delta >> 7:02X} {delta & 127:02X} {status:02X} {key:02X} 40"


@pytest.mark.parametrize("encoding", ["bend", "mpe"])
def test_mono_legato_over_chords_converts(encoding: str) -> None:
    keys = [60, 64, 67, 64, 62, 65, 69, 65] * 2
    line = "00 B0 7E 01" + event(0, 0x90, keys[0])
    for before, key in itertools.pairwise(keys):
        line += event(240, 0x90, key) + event(60, 0x80, before)
    chords = ""
    for chord in ([60, 64, 67], [57, 60, 64], [62, 65, 69], [55, 59, 62]) * 2:
        chords += "".join(event(0, 0x91, key) for key in chord)
        chords += "".join(event(0 if k else 480, 0x81, key) for k, key in enumerate(chord))
    data = smf(line + event(240, 0x80, keys[-1]), chords)
    assert convert(data, Options(encoding=encoding)).checked.problems == ()

"""Channel bends: published bytes, channels, ranges, tails."""

from __future__ import annotations

import io

import mido
import numpy as np
import pytest

from retune.encode import encode
from retune.options import Options
from retune.score import read_score
from tests.encode.build import file_of, in_order, note, score_of, tuning_of
from tests.encode.receiver import Receiver, hear

THIRD, FIFTH = -13.6863, 1.9550  # 5/4 and 3/2 against equal temperament


def encoded(tracks, offsets, **options):
    kind = options.pop("kind", 1)
    score = score_of(tracks, kind=kind)
    return encode(score, tuning_of(score, offsets), Options(**options))


def messages_of(data: bytes, track: int = 0):
    now, rows = 0, []
    for message in mido.MidiFile(file=io.BytesIO(data)).tracks[track]:
        now += message.time
        rows.append((now, message))
    return rows


def test_a_pure_triad_is_written_as_computed_from_the_specification():
    """Golden bytes of a whole track.

    Bend words computed from MIDI 1.0 Detailed Specification 4.2.1 p. 19 (8192 + cents·8192/200): -13.6863 is 7631 =
    `4F 3B`, +1.955 is 8272 = `50 40`; range group p. 18; each bend directly before its note.
    """
    data = encoded([in_order(note(0, 480, 60), note(0, 480, 64), note(0, 480, 67))], [0.0, THIRD, FIFTH])
    track = data.files[0].data[14 + 8 :]

    def range_group(channel: int) -> str:
        b = f"B{channel}"
        return f"00 {b} 65 00 00 64 00 00 06 02 00 26 00 00 65 7F 00 64 7F"

    expected = (
        f"{range_group(0)} 00 90 3C 50 {range_group(1)} 00 E1 4F 3B 00 91 40 50"
        f"{range_group(2)} 00 E2 50 40 00 92 43 50"
        "83 60 80 3C 40 00 81 40 40 00 82 43 40 00 FF 2F 00"
    )
    assert track.hex(" ").upper() == bytes.fromhex(expected).hex(" ").upper()
    assert (data.channels_used, data.remarks) == (3, ())
    assert data.worst_error_cents < 0.0123


@pytest.mark.parametrize(
    ("semitones", "expected"),
    [(2, "E1 4F 3B"), (12, "E1 23 3F"), (24, "E1 51 3F"), (48, "E1 69 3F")],  # 5/4, computed from p. 19
)
def test_the_range_of_the_options_is_used(semitones, expected):
    tracks = [in_order(note(0, 480, 60), note(0, 480, 64))]
    result = encoded(tracks, [0.0, THIRD], bend_range_semitones=semitones)
    assert bytes.fromhex(expected) in result.files[0].data
    assert result.worst_error_cents <= 50 * semitones / 8192
    assert [h.state.range for h in hear(result.files[0].data)] == [semitones, semitones]


def test_notes_that_want_the_same_bend_share_a_channel():
    tracks = [in_order(note(0, 960, 60), note(0, 960, 64), note(240, 960, 72), note(480, 960, 76))]
    result = encoded(tracks, [0.0, THIRD, 0.004, THIRD - 0.004])
    assert [h.channel for h in hear(result.files[0].data)] == [0, 1, 0, 1]


def test_a_part_with_one_bend_keeps_its_channel_even_with_equal_keys_at_once():
    tracks = [in_order(note(0, 960, 60, 4), note(480, 1440, 60, 4, velocity=70), note(1500, 1900, 62, 4))]
    result = encoded(tracks, [THIRD] * 3)
    assert [h.channel for h in hear(result.files[0].data)] == [4, 4, 4]
    assert [m.pitch for _, m in messages_of(result.files[0].data) if m.type == "pitchwheel"] == [-561]


def test_equal_keys_at_once_go_to_two_channels_where_there_are_several():
    """A receiver may take the second note-on for a retrigger (MIDI 1.0 Detailed Specification 4.2.1 A-4)."""
    tracks = [in_order(note(0, 960, 60), note(0, 960, 64), note(480, 1440, 60, velocity=70))]
    heard = hear(encoded(tracks, [0.0, THIRD, 0.0]).files[0].data)
    first, second = (h for h in heard if h.key == 60)
    assert first.channel != second.channel
    assert (first.off, second.off) == (960, 1440)


def test_what_is_not_tuned_comes_back_byte_for_byte():
    tracks = [
        [(0, "meta track_name name=piano"), (0, "program_change channel=2 program=3"), *note(0, 480, 60, 2)],
        in_order(note(0, 480, 36, 9), note(0, 240, 42, 9)),
    ]
    original = file_of(tracks)
    score = read_score(original)
    assert encode(score, tuning_of(score, [0.0]), Options()).files[0].data == original


def test_percussion_is_neither_moved_nor_bent_and_channel_10_never_taken():
    notes = [note(0, 480, 40 + k) for k in range(15)]
    tracks = [in_order(*notes), in_order(note(0, 480, 36, 9), note(240, 480, 38, 9))]
    result = encoded(tracks, [float(k) for k in range(15)])
    heard = hear(result.files[0].data)
    assert {h.channel for h in heard if h.track == 0} == set(range(16)) - {9}
    assert [(h.key, h.channel, h.curve) for h in heard if h.track == 1] == [
        (36, 9, [(0, 0.0)]),
        (38, 9, [(240, 0.0)]),
    ]
    assert not any(
        m.channel == 9
        for _, m in messages_of(result.files[0].data, 1)
        if m.type in ("pitchwheel", "control_change")
    )


def test_released_notes_ring_out_unbent_while_there_are_channels():
    """Four chords in a row: no channel is bent while a note released less than a second ago may ring."""
    chords = [in_order(*(note(480 * k, 480 * k + 480, 60 + i + k) for i in range(3))) for k in range(4)]
    offsets = [float(10 * k + i) for k in range(4) for i in range(3)]
    heard = hear(encoded([in_order(*chords)], offsets).files[0].data)
    assert len(heard) == len(offsets)
    for h in heard:
        assert all(tick >= h.off + 480 for tick, _ in h.ringing)  # until the chord after the next


def test_the_channel_released_longest_ago_is_taken():
    notes = in_order(
        *(note(4000 * k, 4000 * k + 100 * (k + 1), 60 + k) for k in range(2)), note(20000, 20100, 70)
    )
    tracks = [in_order(note(0, 3000, 60), note(0, 2000, 64), note(20000, 20100, 70))]
    del notes
    heard = hear(encoded(tracks, [5.0, 10.0, 20.0]).files[0].data)
    assert heard[2].channel == heard[1].channel  # released at 2000, the other at 3000


def test_a_sounding_note_moves_alone():
    moving = [(0, THIRD), (480, THIRD + 0.9), (960, THIRD)]
    tracks = [in_order(note(0, 1440, 64), note(0, 1440, 60), note(480, 1440, 67))]
    heard = hear(encoded(tracks, [moving, 0.0, FIFTH]).files[0].data)
    by_key = {h.key: h for h in heard}
    assert [tick for tick, _ in by_key[64].curve] == [0, 480, 960]
    assert np.allclose([c for _, c in by_key[64].curve], [THIRD, THIRD + 0.9, THIRD], atol=0.0123)
    assert len(by_key[60].curve) == len(by_key[67].curve) == 1


def test_notes_that_move_alike_share_a_channel():
    moving = [(0, 4.0), (480, 4.7)]
    tracks = [in_order(note(0, 960, 60), note(0, 960, 72), note(0, 960, 67))]
    heard = hear(encoded(tracks, [moving, moving, 0.0]).files[0].data)
    by_key = {h.key: h for h in heard}
    assert by_key[60].channel == by_key[72].channel != by_key[67].channel


def test_the_bend_stands_in_the_track_of_its_note_and_before_it():
    tracks = [in_order(note(0, 480, 60)), in_order(note(0, 480, 64)), in_order(note(0, 480, 67))]
    data = encoded(tracks, [5.0, 5.0, FIFTH]).files[0].data
    for track in range(3):
        kinds = [m.type for _, m in messages_of(data, track) if m.type in ("pitchwheel", "note_on")]
        assert kinds[:2] == ["pitchwheel", "note_on"]


def test_a_bend_is_not_sent_again_when_it_is_there_already():
    tracks = [in_order(*(note(480 * k, 480 * k + 400, 60) for k in range(8)))]
    data = encoded(tracks, [THIRD] * 8).files[0].data
    rows = messages_of(data)
    assert sum(m.type == "pitchwheel" for _, m in rows) == 1
    assert sum(m.type == "control_change" and m.control == 6 for _, m in rows) == 1


def test_the_bend_is_taken_off_at_the_end_if_no_tail_can_follow_it():
    score = score_of([in_order(note(0, 480, 60), note(0, 480, 64))], end=2000)
    rows = messages_of(encode(score, tuning_of(score, [5.0, THIRD]), Options()).files[0].data)
    assert [(t, m.channel) for t, m in rows if m.type == "pitchwheel" and m.pitch == 0] == [
        (2000, 0),
        (2000, 1),
    ]
    short = score_of([in_order(note(0, 480, 60), note(0, 480, 64))], end=500)
    rows = messages_of(encode(short, tuning_of(short, [5.0, THIRD]), Options()).files[0].data)
    assert not [m for _, m in rows if m.type == "pitchwheel" and m.pitch == 0]


def test_a_reference_beyond_the_range_widens_it():
    """A4 at 380 Hz is 253.8 cents down: a range of two semitones does not reach it."""
    shift = 1200 * np.log2(380 / 440)
    result = encoded([in_order(note(0, 480, 69), note(0, 480, 73))], [shift, shift + THIRD])
    heard = hear(result.files[0].data)
    assert [h.state.range for h in heard] == [3, 3]
    assert np.allclose([h.curve[0][1] for h in heard], [shift, shift + THIRD], atol=0.0184)


@pytest.mark.parametrize("kind", [0, 1])
def test_set_up_comes_behind_the_instruments_own_and_before_the_music(kind):
    set_up = [
        (0, "control_change channel=0 control=0 value=1"),
        (0, "program_change channel=0 program=24"),
        (0, "control_change channel=0 control=7 value=90"),
    ]
    tracks = [[*set_up, *in_order(note(960, 1440, 60), note(960, 1440, 64))]]
    rows = messages_of(encoded(tracks, [0.0, THIRD], kind=kind).files[0].data)
    ranges = [(t, m.channel) for t, m in rows if m.type == "control_change" and m.control == 6]
    assert ranges == [(0, 0), (0, 1)]
    kinds = [(m.type, m.channel) for t, m in rows if not m.is_meta and t == 0]
    assert kinds[:3] == [("control_change", 0), ("program_change", 0), ("control_change", 0)]


def test_set_up_waits_for_a_device_reset_on_the_first_tick():
    """A device may need a tenth of a second after GM2 System On (RP-024 4.9.1); nothing of ours comes before it."""
    tracks = [
        [(0, "program_change channel=0 program=24"), *in_order(note(960, 1440, 60), note(960, 1440, 64))],
        [(0, "sysex 7E 7F 09 03")],
    ]
    rows = messages_of(encoded(tracks, [0.0, THIRD]).files[0].data)
    assert {t for t, m in rows if m.type == "control_change"} == {960}


def test_two_ports_are_two_sets_of_channels():
    tracks = [
        [(0, f"meta midi_port port={port}"), *in_order(*(note(0, 480, 40 + k) for k in range(14)))]
        for port in (0, 1)
    ]
    result = encoded(tracks, [float(k) for k in range(14)] * 2)
    heard = hear(result.files[0].data)
    assert result.worst_error_cents < 0.0123
    assert result.channels_used == 28
    assert [h.curve[0][1] for h in heard] == pytest.approx([float(k) for k in range(14)] * 2, abs=0.0123)


def test_an_idle_channel_is_handed_on_with_everything_reset():
    """Two instruments need nine channels each, one after the other: the second gets channels of the first."""
    first = [(0, "program_change channel=0 program=5"), (0, "control_change channel=0 control=7 value=33")]
    second = [(0, "control_change channel=1 control=10 value=1")]
    tracks = [
        [*first, *in_order(*(note(10, 480, 40 + k, 0) for k in range(9)))],
        [*second, *in_order(*(note(9600, 9900, 40 + k, 1) for k in range(9)))],
    ]
    result = encoded(tracks, [float(k) for k in range(9)] * 2)
    heard = hear(result.files[0].data)
    assert result.worst_error_cents < 0.0123
    early, late = heard[:9], heard[9:]
    assert {h.channel for h in early} & {h.channel for h in late}
    assert all(h.state.program == (0, 0, 5) and h.state.controls.get(7) == 33 for h in early)
    assert all(h.state.program == (0, 0, 0) and h.state.controls.get(7, 100) == 100 for h in late)
    assert all(h.state.controls.get(10) == 1 for h in late)


def test_the_channel_of_another_instrument_is_borrowed_in_its_silence_and_given_back():
    """Sixteen channels with notes: while the others are silent one of them needs three at once."""
    tracks = [
        [(0, f"program_change channel={c} program={c}"), *note(0, 100, 60, c), *note(9600, 9700, 60, c)]
        for c in range(16)
        if c != 9
    ]
    middle = [note(4800, 4900, 60 + k, 3) for k in range(3)]
    tracks[3] = [tracks[3][0], *in_order(note(0, 100, 60, 3), *middle, note(9600, 9700, 60, 3))]
    score = score_of(tracks)
    offsets = [5.0 if row["onset_tick"] != 4800 else float(10 * (row["key"] - 59)) for row in score.notes]
    result = encode(score, tuning_of(score, offsets), Options())
    assert result.remarks == ()
    heard = hear(result.files[0].data)
    assert len({h.channel for h in heard if h.on == 4800}) == 3
    assert all(h.state.program[2] == 3 for h in heard if h.on == 4800)
    assert all(h.state.program[2] == h.channel for h in heard if h.on in (0, 9600))


def test_channels_with_events_but_no_notes_are_used_last_and_keep_their_events():
    silent = [(0, f"control_change channel={c} control=7 value=1") for c in range(1, 16) if c != 9]
    silent += [(240, f"program_change channel={c} program=9") for c in range(1, 16) if c != 9]
    tracks = [[*silent[:14], *in_order(note(0, 480, 60), note(0, 480, 64), note(0, 480, 67)), *silent[14:]]]
    tracks[0].sort(key=lambda e: e[0])
    result = encoded(tracks, [0.0, THIRD, FIFTH])
    heard = hear(result.files[0].data)
    assert result.worst_error_cents < 0.0123
    assert all(h.state.controls.get(7, 100) == 100 for h in heard)
    for h in heard[1:]:
        assert [p for _, p in h.settings["program"]] == [(0, 0, 9), (0, 0, 0)]  # undone at once
    rows = messages_of(result.files[0].data)
    assert sum(m.type == "program_change" and m.program == 9 for _, m in rows) == 14


def test_tracks_keep_names_order_and_end():
    tracks = [
        [(0, "meta track_name name=tempo"), (0, "meta set_tempo tempo=400000")],
        [
            (0, "meta track_name name=first"),
            *in_order(note(0, 480, 60, 1), note(0, 480, 64, 1)),
            (4000, "meta text text=x"),
        ],
        [(0, "meta track_name name=second"), *in_order(note(0, 480, 67, 2))],
    ]
    score = score_of(tracks)
    data = encode(score, tuning_of(score, [5.0, THIRD, FIFTH]), Options()).files[0].data
    again = read_score(data)
    assert [t.name for t in again.tracks] == ["tempo", "first", "second"]
    assert [t.end_tick for t in again.tracks] == [t.end_tick for t in score.tracks]
    assert [(m.type, t) for t, _, m in Receiver(data).kept] == [
        ("track_name", 0), ("set_tempo", 0), ("track_name", 0), ("track_name", 0), ("text", 4000),
    ]  # fmt: skip


def test_a_score_without_notes_comes_back():
    original = file_of(
        [[(0, "meta track_name name=empty"), (0, "control_change channel=0 control=7 value=1")]]
    )
    score = read_score(original)
    assert encode(score, tuning_of(score, []), Options()).files[0].data == original

"""Tuning tables: published bytes, and how few messages and channels they take."""

from __future__ import annotations

import io

import mido
import pytest

from retune.check import check
from retune.encode import encode
from retune.encode.mts import frequency_word, note_changes
from retune.encode.octave import octave_message
from retune.options import Options
from tests.encode.build import in_order, note, score_of, tuning_of
from tests.encode.receiver import hear

THIRD, FIFTH, SIXTH, SEVENTH = -13.6863, 1.9550, 15.6413, -31.1741


def encoded(tracks, offsets, encoding="mts", **options):
    score = score_of(tracks)
    return encode(score, tuning_of(score, offsets), Options(encoding=encoding, **options))


def sysexes(data: bytes):
    rows = []
    for track in mido.MidiFile(file=io.BytesIO(data)).tracks:
        now = 0
        for message in track:
            now += message.time
            if message.type == "sysex":
                rows.append((now, message.hex()))
    return rows


def test_frequency_words():
    """Words that the MIDI Tuning Updated Specification prints (p. 1), and just intervals computed by its formula."""
    assert bytes(frequency_word(0x3C, 0)).hex() == "3c0000"
    assert bytes(frequency_word(0x45, 0)).hex() == "450000"
    assert bytes(frequency_word(0x45, -1)).hex() == "447f7f"
    assert bytes(frequency_word(0x45, 1)).hex() == "450001"
    computed = {
        0x40: (THIRD, "3f6e3e"),
        0x43: (FIFTH, "430240"),
        0x3F: (SIXTH, "3f1403"),
        0x46: (SEVENTH, "45580c"),
    }
    for key, (cents, expected) in computed.items():
        assert bytes(frequency_word(key, round(cents * 163.84))).hex() == expected


def test_single_note_change():
    """Layout of MIDI Tuning Updated Specification p. 2: length 8 + 4 for each key."""
    message = note_changes(0, {0x40: round(THIRD * 163.84)})
    assert message.hex() == "F0 7F 7F 08 02 00 01 40 3F 6E 3E F7"


@pytest.mark.parametrize(
    ("channels", "expected"),
    [
        (1 << 0, "00 00 01"), (1 << 6, "00 00 40"), (1 << 7, "00 01 00"), (1 << 9, "00 04 00"),
        (1 << 13, "00 40 00"), (1 << 14, "01 00 00"), (1 << 15, "02 00 00"), (0xFFFE, "03 7F 7E"),
    ],
)  # fmt: skip
def test_channel_bitmap(channels, expected):
    """MIDI Tuning Updated Specification p. 7."""
    assert octave_message(channels, [0] * 12).hex().split(" ", 5)[5].startswith(expected)


@pytest.mark.parametrize(
    ("cents", "expected"),
    [
        (THIRD, "37 1F"),
        (FIFTH, "41 20"),
        (SIXTH, "4A 01"),
        (SEVENTH, "2C 06"),
        (0.0, "40 00"),
        (-100.0, "00 00"),
    ],
)
def test_two_byte_offsets(cents, expected):
    """MSB first, 8192 steps to 100 cents (MIDI Tuning Updated Specification p. 8)."""
    message = octave_message(1, [round(cents * 81.92)] + [0] * 11)
    assert message.hex() == f"F0 7F 7F 08 09 00 00 01 {expected}" + " 40 00" * 11 + " F7"


def test_a_chord_is_retuned_by_one_message():
    tracks = [in_order(note(0, 480, 60), note(0, 480, 64), note(0, 480, 67))]
    data = encoded(tracks, [0.0, THIRD, FIFTH]).files[0].data
    assert sysexes(data) == [(0, "F0 7F 7F 08 02 00 02 40 3F 6E 3E 43 43 02 40 F7")]
    data = encoded(tracks, [0.0, THIRD, FIFTH], "mts-octave").files[0].data
    assert [h for _, h in sysexes(data)] == [
        "F0 7F 7F 08 09 00 00 01 40 00 40 00 40 00 40 00 37 1F 40 00 40 00 41 20 40 00 40 00 40 00 40 00 F7"
    ]


def test_the_tuning_program_is_chosen_before_the_changes():
    """Bank (RPN 4) and program (RPN 3), MIDI Tuning Updated Specification p. 3; some receivers need the choice."""
    score = score_of([in_order(note(0, 480, 60), note(0, 480, 64))])
    data = encode(score, tuning_of(score, [0.0, THIRD]), Options(encoding="mts")).files[0].data
    kinds = [m.hex() for m in mido.MidiFile(file=io.BytesIO(data)).tracks[0] if not m.is_meta]
    assert kinds[:10] == [
        "B0 65 00", "B0 64 04", "B0 06 00", "B0 65 7F", "B0 64 7F",
        "B0 65 00", "B0 64 03", "B0 06 00", "B0 65 7F", "B0 64 7F",
    ]  # fmt: skip
    assert kinds[10].startswith("F0 7F 7F 08 02")


@pytest.mark.parametrize("encoding", ["mts", "mts-octave"])
def test_each_part_keeps_its_channel_while_its_tunings_do_not_collide(encoding):
    tracks = [in_order(*(note(480 * k, 480 * k + 480, 60 + k, c) for k in range(8))) for c in range(3)]
    result = encoded(tracks, [float(3 * k + c) for k in range(8) for c in range(3)], encoding)
    assert result.channels_used == 3
    heard = hear(result.files[0].data)
    for k, h in enumerate(heard):
        assert abs(h.curve[0][1] - (3 * (k // 3) + k % 3)) < 0.0062
        assert len(h.curve) == 1


def test_one_key_in_two_tunings_at_once_takes_two_tuning_programs():
    tracks = [note(0, 960, 60, 0, velocity=1), note(480, 1440, 60, 1, velocity=2)]
    heard = hear(encoded(tracks, [3.0, 8.0]).files[0].data)
    assert [[round(c, 1) for _, c in h.curve] for h in heard] == [[3.0], [8.0]]
    assert {h.state.tuning for h in heard} == {(0, 0), (0, 1)}


def test_one_key_in_two_tunings_within_a_part_takes_two_channels():
    tracks = [in_order(note(0, 960, 60, 0, velocity=1), note(480, 1440, 60, 0, velocity=2))]
    heard = hear(encoded(tracks, [3.0, 8.0]).files[0].data)
    assert [[round(c, 1) for _, c in h.curve] for h in heard] == [[3.0], [8.0]]
    assert len({h.channel for h in heard}) == 2


def test_octaves_that_differ_take_two_channels():
    tracks = [
        in_order(note(0, 960, 60, velocity=1), note(0, 960, 72, velocity=2), note(0, 960, 64, velocity=3))
    ]
    result = encoded(tracks, [3.0, 8.0, 1.0], "mts-octave")
    heard = {h.velocity: h for h in hear(result.files[0].data)}
    assert heard[1].channel != heard[2].channel
    assert {v: round(h.curve[0][1], 1) for v, h in heard.items()} == {1: 3.0, 2: 8.0, 3: 1.0}


def test_a_part_that_is_not_tuned_is_not_touched_by_its_neighbours_table():
    """Keys are tuned wherever they are played: the piano gets its equal-tempered key back before its note."""
    tracks = [note(0, 480, 60, 0, velocity=1), in_order(note(480, 960, 60, 1, velocity=2))]
    heard = hear(encoded(tracks, [8.0, 0.0]).files[0].data)
    assert [h.curve[0][1] for h in heard] == pytest.approx([8.0, 0.0], abs=0.0031)


def test_bends_of_the_input_stay_as_they_are():
    tracks = [[*note(0, 960, 60), (480, "pitchwheel channel=0 pitch=4096")]]
    for encoding in ("mts", "mts-octave"):
        tracks[0].sort(key=lambda e: e[0])
        (h,) = hear(encoded(tracks, [8.0], encoding).files[0].data)
        assert [c for _, c in h.curve] == pytest.approx([8.0, 108.0], abs=0.0062)


@pytest.mark.parametrize("encoding", ["mts", "mts-octave"])
def test_tables_are_sent_again_after_a_device_reset(encoding):
    events = [*note(0, 960, 64, velocity=1), (480, "sysex 7E 7F 09 01"), *note(1920, 2400, 64, velocity=2)]
    data = encoded([sorted(events, key=lambda e: e[0])], [THIRD, THIRD], encoding).files[0].data
    assert [t for t, h in sysexes(data) if h.startswith("F0 7F 7F 08")][:2] == [0, 480]
    assert [h.curve[-1][1] for h in hear(data)] == pytest.approx([THIRD, THIRD], abs=0.0062)


def test_what_an_octave_table_cannot_reach_is_measured_and_said():
    result = encoded([in_order(note(0, 480, 60), note(0, 480, 64))], [-101.3, -115.0], "mts-octave")
    assert result.worst_error_cents == pytest.approx(15.0, abs=0.01)
    (remark,) = result.remarks
    assert (remark.code, "15.00" in remark.message) == ("out-of-reach", True)


def test_too_many_tunings_of_one_pitch_class_share_and_are_measured():
    cents = [float(k) for k in range(20)]
    tracks = [in_order(*(note(0, 480, 60, 0, velocity=k + 1) for k in range(20)))]
    result = encoded(tracks, cents, "mts")
    errors = [abs(h.curve[0][1] - cents[h.velocity - 1]) for h in hear(result.files[0].data)]
    assert max(errors) <= result.worst_error_cents + 1e-9
    assert result.worst_error_cents > 0.4
    assert result.remarks[0].code == "channels-full"


def test_after_a_device_reset_a_channel_wants_what_another_put_into_the_table_they_share():
    """Both choose tuning program 0, and no key sounds on both in two tunings; not what the channel itself sent last."""
    notes = [note(0, 100, 72, 1), note(200, 480, 72, 0), note(240, 1920, 72, 1)]
    score = score_of([in_order(*notes, [(960, "sysex 7E 7F 09 01")])])
    tuning = tuning_of(score, [FIFTH, THIRD, THIRD])
    assert check(score, encode(score, tuning, Options(encoding="mts")), intended=tuning).problems == ()

"""MPE: published bytes, order of set-up, zones, what goes where."""

from __future__ import annotations

import io

import mido
import pytest

from retune.encode import encode
from retune.encode.bend import read_bends
from retune.encode.placing.zones import plan_zones
from retune.options import Options
from tests.encode.build import in_order, note, score_of, tuning_of
from tests.encode.receiver import Receiver, hear

THIRD, FIFTH = -13.6863, 1.9550


def encoded(tracks, offsets, **options):
    score = score_of(tracks)
    return encode(score, tuning_of(score, offsets), Options(encoding="mpe", **options))


def channel_messages(data: bytes):
    rows = []
    for track in mido.MidiFile(file=io.BytesIO(data)).tracks:
        now = 0
        for message in track:
            now += message.time
            if not message.is_meta and message.type != "sysex":
                rows.append((now, message))
    return rows


def chord(channel=0, on=0, off=480, first_velocity=1, n=3):
    return in_order(*(note(on, off, 60 + 4 * k, channel, velocity=first_velocity + k) for k in range(n)))


def hex_of(messages) -> str:
    return " ".join(m.hex() for m in messages)


def test_configuration_bytes_and_order():
    """M1-100-UM v1.1: configuration (2.2.1), ranges of manager and members (2.2.5), then program and notes."""
    events = [(0, "program_change channel=0 program=24"), *chord()]
    rows = [m for _, m in channel_messages(encoded([events], [0.0, THIRD, FIFTH]).files[0].data)]
    assert hex_of(rows[:3]) == "B0 65 00 B0 64 06 B0 06 0F"  # Lower Zone of fifteen members
    assert hex_of(rows[5:11]) == "B0 65 00 B0 64 00 B0 06 02 B0 26 00 B0 65 7F B0 64 7F"
    for member in range(1, 16):
        group = rows[5 + 6 * member : 11 + 6 * member]
        b = f"B{member:X}"
        assert hex_of(group) == f"{b} 65 00 {b} 64 00 {b} 06 02 {b} 26 00 {b} 65 7F {b} 64 7F"
    assert hex_of(rows[101:]) == (
        "C0 18 91 3C 01 E2 4F 3B 92 40 02 E3 50 40 93 44 03 81 3C 40 82 40 40 83 44 40"
    )


@pytest.mark.parametrize(
    ("semitones", "expected"),
    [(2, "4F 3B"), (48, "69 3F")],  # 5/4 at 2 and 48 semitones, computed from M1-100-UM C.3
)
def test_member_range_of_the_options(semitones, expected):
    data = encoded([chord(n=2)], [0.0, THIRD], bend_range_semitones=semitones).files[0].data
    assert bytes.fromhex(f"E2 {expected}") in data
    assert [h.state.range for h in hear(data)] == [semitones] * 2


def test_every_note_has_a_member_of_its_own_and_the_oldest_comes_round_last():
    notes = [note(480 * k, 480 * k + 400, 60, velocity=k + 1) for k in range(20)]
    heard = hear(encoded([in_order(*notes)], [5.0] * 20).files[0].data)
    members = [h.channel for h in heard]
    assert members[:14] == [1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14, 15]  # channel 10 left out
    assert members[14:] == members[:6]


def test_channel_10_may_be_used():
    notes = [note(0, 480, 40 + k, velocity=k + 1) for k in range(15)]
    heard = hear(
        encoded([in_order(*notes)], [float(k) for k in range(15)], keep_channel_10_free=False).files[0].data
    )
    assert {h.channel for h in heard} == set(range(1, 16))


def test_everything_that_is_not_a_note_goes_to_the_manager():
    events = [
        (0, "control_change channel=5 control=0 value=1"),
        (0, "program_change channel=5 program=9"),
        (0, "control_change channel=5 control=7 value=90"),
        *chord(5),
        (240, "control_change channel=5 control=64 value=127"),
        (240, "aftertouch channel=5 value=30"),
        (300, "pitchwheel channel=5 pitch=4096"),
    ]
    data = encoded([sorted(events, key=lambda e: e[0])], [0.0, THIRD, FIFTH]).files[0].data
    ours = (6, 38, 100, 101)
    rest = [m for _, m in channel_messages(data) if m.type not in ("note_on", "note_off")]
    assert all(
        m.channel == 0
        for m in rest
        if m.type != "pitchwheel" and not (m.type == "control_change" and m.control in ours)
    )
    for h in hear(data):
        assert h.state.program == (1, 0, 9)
        assert h.state.controls[7] == 90
        assert h.settings[64] == [(240, 127)]
        assert h.curve[-1][1] - h.curve[0][1] == pytest.approx(
            100.0, abs=0.04
        )  # manager and member add (C.1)


def test_the_managers_range_follows_the_bends_of_the_input():
    wide = [(0, f"control_change channel=0 control={c} value={v}") for c, v in ((101, 0), (100, 0), (6, 12))]
    events = sorted([*wide, *chord(off=960), (480, "pitchwheel channel=0 pitch=4096")], key=lambda e: e[0])
    receiver = Receiver(encoded([events], [0.0, THIRD, FIFTH]).files[0].data)
    assert receiver.channels[0, 0].range == 12
    assert all(receiver.channels[0, c].range == 2 for c in range(1, 16))


def test_poly_pressure_becomes_pressure_of_the_notes_member():
    """Poly pressure is forbidden on members (2.2.7); it stays on the manager, where it was sent, too."""
    events = [
        *chord(),
        (240, "polytouch channel=0 note=64 value=70"),
        *chord(on=4800, off=5000, first_velocity=10),
    ]
    data = encoded([sorted(events, key=lambda e: e[0])], [0.0, THIRD, FIFTH] * 2).files[0].data
    heard = hear(data)
    assert [h.settings.get("key pressure") for h in heard[:3]] == [None, [(240, 70)], None]
    assert [m.channel for _, m in channel_messages(data) if m.type == "polytouch"] == [0]


def test_a_member_has_the_pressure_of_its_newest_note():
    """Fourteen members, fifteen notes: the last shares the member of the first, which has the same tuning."""
    cents = [float(k % 14) for k in range(15)]
    notes = [note(10 * k, 960, 40 + k, velocity=k + 1) for k in range(15)]
    presses = [(240, "polytouch channel=0 note=40 value=70"), (300, "polytouch channel=0 note=54 value=80")]
    data = encoded([in_order(*notes, presses)], cents).files[0].data
    heard = {h.key: h for h in hear(data)}
    assert heard[40].channel == heard[54].channel
    pressures = [(t, m.channel, m.value) for t, m in channel_messages(data) if m.type == "aftertouch"]
    assert pressures == [(300, heard[54].channel, 80)]


def test_pressure_is_back_to_nothing_before_the_next_note_of_a_member():
    notes = [note(480 * k, 480 * k + 400, 64, velocity=k + 1) for k in range(15)]
    events = sorted([*in_order(*notes), (240, "polytouch channel=0 note=64 value=70")], key=lambda e: e[0])
    rows = [m for _, m in channel_messages(encoded([events], [5.0] * 15).files[0].data) if m.channel == 1]
    kinds = [(m.type, getattr(m, "value", None)) for m in rows if m.type in ("aftertouch", "note_on")]
    assert kinds == [("note_on", None), ("aftertouch", 70), ("aftertouch", 0), ("note_on", None)]


def test_two_sounds_get_two_zones():
    """Lower Zone on channel 1, Upper Zone on channel 16 (2.2.1); the hungrier one gets the lower."""
    tracks = [
        [(0, "program_change channel=0 program=1"), *chord(0, n=2)],
        [(0, "program_change channel=1 program=2"), *chord(1, first_velocity=11, n=6)],
    ]
    data = encoded(tracks, [float(k) for k in range(8)]).files[0].data
    receiver = Receiver(data)
    assert set(receiver.zones) == {(0, 0), (0, 15)}
    assert sum(receiver.zones.values()) == 14
    heard = receiver.heard
    assert {h.state.program[2] for h in heard if h.velocity < 10} == {1}
    assert all(h.channel >= 10 for h in heard if h.velocity < 10)
    assert all(h.channel <= 8 for h in heard if h.velocity > 10)


def test_parts_that_sound_alike_share_a_zone_and_stay_in_their_tracks():
    tracks = [chord(c, first_velocity=1 + 3 * c) for c in range(4)]
    result = encoded(tracks, [float(k) for k in range(12)])
    receiver = Receiver(result.files[0].data)
    assert receiver.zones == {(0, 0): 15}
    assert [h.track for h in sorted(receiver.heard, key=lambda h: h.velocity)] == [k // 3 for k in range(12)]
    assert result.remarks == ()


def test_equal_keys_of_parts_in_one_zone_are_never_on_one_member():
    tracks = [note(0, 480 + 100 * c, 60, c, velocity=1 + c) for c in range(4)]
    heard = hear(encoded(tracks, [5.0] * 4).files[0].data)
    assert len({h.channel for h in heard}) == 4
    assert [h.off for h in sorted(heard, key=lambda h: h.velocity)] == [480, 580, 680, 780]


def test_percussion_stays_on_channel_10_outside_the_zone():
    tracks = [chord(0), in_order(note(0, 100, 36, 9, velocity=90), note(240, 300, 38, 9, velocity=91))]
    receiver = Receiver(encoded(tracks, [0.0, THIRD, FIFTH]).files[0].data)
    assert receiver.zones == {(0, 0): 8}
    assert [(h.channel, h.curve) for h in receiver.heard if h.velocity >= 90] == [
        (9, [(0, 0.0)]),
        (9, [(240, 0.0)]),
    ]


def test_what_is_not_tuned_stays_outside_the_zone():
    tracks = [
        [(0, "program_change channel=0 program=52"), *chord(0)],
        [(0, "program_change channel=1 program=0"), *chord(1, first_velocity=50)],
    ]
    receiver = Receiver(encoded(tracks, [0.0, THIRD, FIFTH, 0.0, 0.0, 0.0]).files[0].data)
    piano = [h for h in receiver.heard if h.velocity >= 50]
    assert len({h.channel for h in piano}) == 1
    assert all(receiver.manager(0, h.channel) is None and h.channel not in (0, 9) for h in piano)
    assert all(h.state.program[2] == 0 and h.curve == [(0, 0.0)] for h in piano)


def test_a_third_sound_keeps_conventional_channels_and_a_remark_says_so():
    tracks = [
        [(0, f"program_change channel={c} program={c}"), *chord(c, first_velocity=1 + 3 * c)]
        for c in range(3)
    ]
    tracks[2].insert(0, (0, "meta track_name name=oboe"))
    result = encoded(tracks, [float(k) for k in range(9)])
    receiver = Receiver(result.files[0].data)
    assert len(receiver.zones) == 2
    assert [r.code for r in result.remarks] == ["zones-full"]
    assert "oboe" in result.remarks[0].message
    for h in receiver.heard:
        assert abs(h.curve[0][1] - (h.velocity - 1)) < 0.0123
        assert h.state.program[2] == (h.velocity - 1) // 3
    assert all(receiver.manager(0, h.channel) is None for h in receiver.heard if h.velocity > 6)


def test_further_ports_take_further_sounds():
    tracks = [
        [(0, f"program_change channel={c} program={c}"), *chord(c, first_velocity=1 + 3 * c)]
        for c in range(4)
    ]
    result = encoded(tracks, [float(k) for k in range(12)], when_full="ports")
    receiver = Receiver(result.files[0].data)
    assert result.remarks == ()
    assert set(receiver.zones) == {(0, 0), (0, 15), (1, 0), (1, 15)}
    for h in receiver.heard:
        assert abs(h.curve[0][1] - (h.velocity - 1)) < 0.0123
        assert h.state.program[2] == (h.velocity - 1) // 3


def test_more_notes_than_members_share_by_tuning():
    cents = [float(k % 5) for k in range(20)]
    notes = [note(0, 480, 40 + k, velocity=k + 1) for k in range(20)]
    result = encoded([in_order(*notes)], cents)
    assert result.worst_error_cents < 0.0123
    assert all(abs(h.curve[0][1] - cents[h.velocity - 1]) < 0.0123 for h in hear(result.files[0].data))


def test_a_device_reset_is_followed_by_the_whole_configuration():
    events = [*chord(off=960), (480, "sysex 7E 7F 09 01"), *chord(on=1920, off=2400, first_velocity=10)]
    data = encoded([sorted(events, key=lambda e: e[0])], [0.0, THIRD, FIFTH] * 2).files[0].data
    configurations = [
        t
        for t, m in channel_messages(data)
        if m.type == "control_change" and (m.control, m.value) == (100, 6)
    ]
    assert configurations == [0, 480]
    for h in hear(data):
        assert h.curve[-1][1] == pytest.approx({60: 0.0, 64: THIRD, 68: FIFTH}[h.key], abs=0.0123)


def test_nothing_is_sent_before_a_reset_that_precedes_the_music():
    tracks = [
        [(0, "program_change channel=0 program=3"), *chord(on=480, off=960)],
        [(0, "sysex 7E 7F 09 01")],
    ]
    data = encoded(tracks, [0.0, THIRD, FIFTH]).files[0].data
    tracks_out = mido.MidiFile(file=io.BytesIO(data)).tracks
    kinds = [(m.type, getattr(m, "control", None)) for m in tracks_out[1] if not m.is_meta]
    assert kinds[0][0] == "sysex"
    assert kinds[1:3] == [("control_change", 101), ("control_change", 100)]
    assert next(m.type for m in tracks_out[0] if not m.is_meta) == "program_change"


def test_zone_sizes_leave_room():
    """Members by need: two zones share fourteen; channels 1 to 9 at most in the lower one beside percussion."""

    def sizes(*sounds: int, drums: bool = False) -> list[tuple[int, int]]:
        tracks = [
            [(0, f"program_change channel={c} program={c}"), *chord(c, n=n)] for c, n in enumerate(sounds)
        ]
        if drums:
            tracks.append(note(0, 10, 36, 9))
        score = score_of(tracks)
        offsets = [float(k) for k in range(1, 1 + sum(sounds))]
        music, _ = read_bends(score, tuning_of(score, offsets), Options())
        return [(z.manager, z.size) for z in plan_zones(music).zones]

    assert sizes(3) == [(0, 15)]
    assert sizes(3, drums=True) == [(0, 8)]
    assert sizes(7, 7, drums=True) == [(0, 8), (15, 5)]
    (lower, upper) = sizes(4, 4)
    assert (lower[0], upper[0]) == (0, 15)
    assert lower[1] + upper[1] == 14

"""Each kind of event that may be in the input already, one at a time, retuned by channel bends."""

from __future__ import annotations

import io
from collections.abc import Sequence

import mido
import numpy as np
import pytest

from retune.encode import encode
from retune.options import Options
from tests.encode.build import Event, in_order, note, score_of, tuning_of
from tests.encode.receiver import Heard, Receiver, hear

THIRD, FIFTH = -13.6863, 1.9550
STEP = 200 / 8192


def triad(on: int = 0, off: int = 960, channel: int = 0) -> list[Event]:
    return in_order(note(on, off, 60, channel), note(on, off, 64, channel), note(on, off, 67, channel))


def retuned(
    events: Sequence[Event], offsets: Sequence[float] = (0.0, THIRD, FIFTH), *, kind: int = 0
) -> bytes:
    """Bytes after retuning one track, its events by tick, and by their order within a tick."""
    score = score_of([sorted(events, key=lambda e: e[0])], kind=kind)
    return encode(score, tuning_of(score, offsets), Options()).files[0].data


def by_key(data: bytes) -> dict[int, Heard]:
    return {h.key: h for h in hear(data)}


def events_of(data: bytes, *kinds: str) -> list[tuple[int, mido.Message]]:
    rows = []
    for track in mido.MidiFile(file=io.BytesIO(data)).tracks:
        now = 0
        for message in track:
            now += message.time
            if message.type in kinds:
                rows.append((now, message))
    return rows


# --- notes ---------------------------------------------------------------------------------------------


def test_notes_keep_tick_key_velocity_and_release():
    events = in_order(
        note(10, 500, 60, 0, 33, 99), note(10, 480, 64, 0, 34, 0), note(20, 700, 67, 0, 35, 127)
    )
    heard = hear(retuned(events))
    assert sorted((h.on, h.off, h.key, h.velocity, h.release) for h in heard) == [
        (10, 480, 64, 34, 0),
        (10, 500, 60, 33, 99),
        (20, 700, 67, 35, 127),
    ]


def test_a_note_on_of_velocity_0_stays_one_on_its_notes_channel():
    events = [
        (0, "note_on channel=0 note=60 velocity=80"),
        (0, "note_on channel=0 note=64 velocity=80"),
        (480, "note_on channel=0 note=60 velocity=0"),
        (480, "note_on channel=0 note=64 velocity=0"),
    ]
    data = retuned(events, (0.0, THIRD))
    ends = [(t, m.channel, m.note) for t, m in events_of(data, "note_on") if m.velocity == 0]
    assert ends == [(480, 0, 60), (480, 1, 64)]
    assert not events_of(data, "note_off")


def test_a_note_of_no_length_stays_whole():
    heard = by_key(retuned([*note(0, 0, 60), *note(0, 0, 64), *note(0, 480, 67)]))
    assert all((h.on, h.off) == (0, 0 if h.key < 67 else 480) for h in heard.values())
    assert abs(heard[64].curve[0][1] - THIRD) < STEP


def test_a_note_that_is_never_released_is_closed_with_its_track_and_tuned():
    """Reading closes it (docs/damaged-files.md)."""
    events = [(0, "note_on channel=0 note=64 velocity=80"), *note(0, 480, 60)]
    heard = by_key(retuned(events, (THIRD, 0.0)))
    assert heard[64].off == 480
    assert abs(heard[64].curve[0][1] - THIRD) < STEP


def test_a_release_too_many_stays_where_it_was():
    events = [*triad(), (1200, "note_off channel=0 note=64 velocity=5")]
    assert (1200, 0, 64) in [(t, m.channel, m.note) for t, m in events_of(retuned(events), "note_off")]


# --- programs and banks -----------------------------------------------------------------------------------


def test_bank_and_program_reach_every_channel_together():
    set_up = [
        (0, "control_change channel=0 control=0 value=8"),
        (0, "control_change channel=0 control=32 value=2"),
        (0, "program_change channel=0 program=19"),
    ]
    data = retuned([*set_up, *triad()])
    assert [h.state.program for h in hear(data)] == [(8, 2, 19)] * 3
    rows = [m for _, m in events_of(data, "control_change", "program_change") if m.channel == 1]
    at = next(i for i, m in enumerate(rows) if m.type == "program_change")
    assert [(m.control, m.value) for m in rows[at - 2 : at]] == [(0, 8), (32, 2)]


def test_a_program_change_under_notes_reaches_their_channels_at_its_tick():
    data = retuned([*triad(), (480, "program_change channel=0 program=40")])
    assert [(t, m.channel) for t, m in events_of(data, "program_change")] == [(480, 0), (480, 1), (480, 2)]


def test_a_bank_without_a_program_change_is_not_copied():
    data = retuned(
        [*triad(), (480, "control_change channel=0 control=0 value=3"), *triad(1920, 2400)],
        (0.0, THIRD, FIFTH) * 2,
    )
    assert [(t, m.channel) for t, m in events_of(data, "control_change") if m.control == 0] == [(480, 0)]


# --- controllers, pressure, pedals -------------------------------------------------------------------------


@pytest.mark.parametrize("number", [1, 2, 7, 10, 11, 70, 74, 91, 93])
def test_controllers_reach_every_channel_that_sounds_at_their_tick(number):
    data = retuned([*triad(), (480, f"control_change channel=0 control={number} value=55")])
    assert all(h.settings[number] == [(480, 55)] for h in hear(data))


def test_a_channel_in_silence_is_brought_up_to_date_before_its_next_note():
    events = [
        *triad(),
        *((4000 + k, f"control_change channel=0 control=11 value={k}") for k in range(50)),
        *triad(9600, 9900),
    ]
    data = retuned(events, (0.0, THIRD, FIFTH) * 2)
    assert all(h.state.controls[11] == 49 for h in hear(data) if h.on == 9600)
    assert len([m for _, m in events_of(data, "control_change") if m.control == 11]) == 50 + 2


def test_channel_pressure_reaches_every_channel():
    data = retuned([*triad(), (480, "aftertouch channel=0 value=70")])
    assert all(h.settings["pressure"] == [(480, 70)] for h in hear(data))


def test_poly_pressure_follows_its_note():
    data = retuned([*triad(), (480, "polytouch channel=0 note=64 value=70")])
    heard = by_key(data)
    assert heard[64].settings["key pressure"] == [(480, 70)]
    assert len(events_of(data, "polytouch")) == 1


def test_pedals_keep_their_place_between_the_notes_of_a_tick():
    """Lifted after the release of one chord and pressed before the next: the first must not be caught again."""
    events = [
        (0, "control_change channel=0 control=64 value=127"),
        *triad(0, 400),
        (960, "control_change channel=0 control=64 value=0"),
        *[(960, t) for _, t in triad(960, 961) if t.startswith("note_on")],
        (960, "control_change channel=0 control=64 value=127"),
        *[(1400, t) for _, t in triad(960, 961) if t.startswith("note_off")],
        (1920, "control_change channel=0 control=64 value=0"),
    ]
    data = retuned(events, (0.0, THIRD, FIFTH, 5.0, THIRD + 5, FIFTH + 5))
    heard = hear(data)
    assert len(heard) == 6
    for h in heard:
        assert h.state.controls.get(64, 0) == (127 if h.on == 0 else 0)
        if h.on == 960:
            assert h.settings[64] == [(960, 127)]
    assert all(t >= 960 for h in hear(data) if h.on == 0 for t, _ in h.ringing)


def test_a_pedal_is_lifted_on_every_channel_where_it_is_down():
    """Hold 2 (CC69) does not count as sounding here, so its channels are silent when it lifts."""
    events = [
        (0, "control_change channel=0 control=69 value=127"),
        *triad(),
        (9600, "control_change channel=0 control=69 value=0"),
    ]
    data = retuned(events)
    assert [
        (t, m.channel) for t, m in events_of(data, "control_change") if m.control == 69 and m.value == 0
    ] == [
        (9600, 0),
        (9600, 1),
        (9600, 2),
    ]


def test_sostenuto_holds_channels_too():
    events = [
        *triad(0, 480),
        (240, "control_change channel=0 control=66 value=127"),
        (4800, "control_change channel=0 control=66 value=0"),
        *triad(960, 1440),
    ]
    data = retuned(events, (0.0, THIRD, FIFTH, 5.0, THIRD + 5, FIFTH + 5))
    assert all(t >= 4800 for h in hear(data) if h.on == 0 for t, _ in h.ringing)


# --- bends and ranges of the input -----------------------------------------------------------------------------


def test_bends_of_the_input_are_added():
    events = [
        *triad(),
        (240, "pitchwheel channel=0 pitch=4096"),
        (480, "pitchwheel channel=0 pitch=-8192"),
        (720, "pitchwheel channel=0 pitch=0"),
    ]
    heard = hear(retuned(events))
    assert len(heard) == 3
    for h in heard:
        offset = {60: 0.0, 64: THIRD, 67: FIFTH}[h.key]
        assert [t for t, _ in h.curve] == [0, 240, 480, 720]
        assert np.allclose([c for _, c in h.curve], [offset, offset + 100, offset - 200, offset], atol=0.04)


def test_the_range_grows_where_bend_and_tuning_would_not_fit():
    data = retuned([*triad(), (480, "pitchwheel channel=0 pitch=-8192")])
    assert [h.state.range for h in hear(data)] == [3, 3, 3]
    assert min(c for h in hear(data) for _, c in h.curve) == pytest.approx(-213.6863, abs=0.04)


RANGE_12 = [
    (0, f"control_change channel=0 control={c} value={v}") for c, v in ((101, 0), (100, 0), (6, 12), (38, 0))
]


def test_a_wider_range_of_the_input_is_kept_where_it_bends():
    data = retuned([*RANGE_12, *triad(), (480, "pitchwheel channel=0 pitch=4096")])
    heard = hear(data)
    assert len(heard) == 3
    for h in heard:
        assert h.state.range == 12
        assert h.curve[-1][1] - h.curve[0][1] == pytest.approx(600, abs=0.15)
    assert (480, 4096) in [(t, m.pitch) for t, m in events_of(data, "pitchwheel")]  # where no tuning is added


def test_a_range_the_input_does_not_use_gives_way_to_ours_in_its_place():
    data = retuned([*RANGE_12, *triad()])
    assert [h.state.range for h in hear(data)] == [2, 2, 2]
    assert next((t, m.value) for t, m in events_of(data, "control_change") if m.control == 6) == (0, 2)


def test_a_range_of_semitones_and_cents_is_understood():
    cents = [
        (0, f"control_change channel=0 control={c} value={v}")
        for c, v in ((101, 0), (100, 0), (6, 1), (38, 50))
    ]
    data = retuned([*cents, *triad(), (480, "pitchwheel channel=0 pitch=-8192")])
    assert by_key(data)[60].curve[-1][1] == pytest.approx(-150, abs=0.04)


def test_a_range_that_changes_under_a_bend_moves_the_notes_as_it_would_have():
    events = [(0, "pitchwheel channel=0 pitch=1000"), *triad(), *((480, text) for _, text in RANGE_12)]
    heard = hear(retuned(events))
    assert len(heard) == 3
    for h in heard:
        before, after = h.curve[0][1], h.curve[-1][1]
        assert after - before == pytest.approx(1000 * 1000 / 8192, abs=0.15)


def test_selected_parameters_stay_selected():
    """The input selects once and enters data twice; our groups in between must not undo the selection."""
    events = [
        (0, "control_change channel=0 control=99 value=1"),
        (0, "control_change channel=0 control=98 value=8"),
        (0, "control_change channel=0 control=6 value=10"),
        *triad(),
        (480, "control_change channel=0 control=6 value=20"),
    ]
    heard = hear(retuned(events))
    assert len(heard) == 3
    for h in heard:
        assert h.state.parameters["nrpn", 1, 8] == [(6, 10)]
        assert h.settings["nrpn", 1, 8] == [(480, ((6, 20),))]


def test_parameters_reach_other_channels_as_unbroken_groups():
    fine = [
        (480, f"control_change channel=0 control={c} value={v}")
        for c, v in ((101, 0), (100, 1), (6, 80), (38, 0))
    ]
    data = retuned([*triad(), *fine])
    heard = hear(data)
    assert len(heard) == 3
    for h in heard:
        assert h.curve[-1][1] - h.curve[0][1] == pytest.approx(
            25.0, abs=1e-6
        )  # RPN 1: (80 - 64)·128·100/8192
    for channel in (1, 2):
        mine = [
            (m.control, m.value)
            for t, m in events_of(data, "control_change")
            if t == 480 and m.channel == channel
        ]
        assert mine == [
            (101, 0),
            (100, 1),
            (6, 80),
            (101, 127),
            (100, 127),
            (101, 0),
            (100, 1),
            (38, 0),
            (101, 127),
            (100, 127),
        ]


def test_increments_reach_every_channel():
    events = [
        (0, "control_change channel=0 control=101 value=0"),
        (0, "control_change channel=0 control=100 value=1"),
        (0, "control_change channel=0 control=6 value=64"),
        *triad(),
        (480, "control_change channel=0 control=96 value=0"),
    ]
    assert all(h.state.parameters["rpn", 0, 1] == [(6, 64)] for h in hear(retuned(events)))
    steps = [(480, ((6, 64),)), (480, ((6, 64), (38, 1)))]  # said as the value it leads to
    assert all(h.settings["rpn", 0, 1] == steps for h in hear(retuned(events)))


# --- resets and modes ---------------------------------------------------------------------------------------


def test_reset_all_controllers_goes_to_all_channels_and_bends_come_back():
    data = retuned(
        [*triad(), (480, "control_change channel=0 control=121 value=0"), *triad(4800, 5000)],
        (0.0, THIRD, FIFTH) * 2,
    )
    resets = [(t, m.channel) for t, m in events_of(data, "control_change") if m.control == 121]
    assert resets == [(480, 0), (480, 1), (480, 2)]
    heard = hear(data)
    assert len(heard) == 6
    for h in heard:
        offset = {60: 0.0, 64: THIRD, 67: FIFTH}[h.key]
        assert all(t == 480 for t, _ in h.curve[1:])  # centred and bent again on one tick
        assert h.curve[-1][1] == pytest.approx(offset, abs=STEP)


@pytest.mark.parametrize("reset", ["7E 7F 09 01", "7E 7F 09 03"])
def test_a_device_reset_is_followed_by_set_up_and_bends(reset):
    """GM System On puts bend and range back (RP-003 p. 3); checked with a range that is not the default."""
    events = [
        *RANGE_12,
        (0, "pitchwheel channel=0 pitch=2000"),
        *triad(),
        (480, f"sysex {reset}"),
        *triad(1920, 2400),
    ]
    data = retuned(events, (0.0, THIRD, FIFTH) * 2)
    heard = hear(data)
    assert len(heard) == 6
    for h in heard:
        offset = {60: 0.0, 64: THIRD, 67: FIFTH}[h.key]
        assert h.curve[-1][1] == pytest.approx(offset, abs=0.08)
        assert h.state.range == 4  # 293 cents of the input and 14 of ours; 12 would be three times as coarse
    resets = [
        (t, i) for i, (t, m) in enumerate(events_of(data, "sysex", "control_change")) if m.type == "sysex"
    ]
    assert resets[0][0] == 480


def test_a_device_reset_touches_its_port_only():
    tracks = [
        [(0, "meta midi_port port=0"), *triad()],
        [(0, "meta midi_port port=1"), *triad(), (480, "sysex 7E 7F 09 01")],
    ]
    tracks[1].sort(key=lambda e: e[0])
    score = score_of(tracks)
    data = encode(score, tuning_of(score, (0.0, THIRD, FIFTH) * 2), Options()).files[0].data
    assert all(len(h.curve) == 1 for h in hear(data) if h.port == 0)


@pytest.mark.parametrize("number", [120, 123])
def test_sound_off_and_notes_off_go_to_all_channels(number):
    data = retuned([*triad(), (480, f"control_change channel=0 control={number} value=0")])
    assert [m.channel for _, m in events_of(data, "control_change") if m.control == number] == [0, 1, 2]


def test_an_instrument_in_mono_mode_stays_on_its_channel_and_the_newest_note_rules():
    events = [
        (0, "control_change channel=0 control=126 value=1"),
        *in_order(note(0, 500, 60), note(480, 1000, 64), note(960, 1500, 67)),
    ]
    heard = by_key(retuned(events))
    assert {h.channel for h in heard.values()} == {0}
    assert heard[64].curve[0][1] == pytest.approx(THIRD, abs=STEP)
    assert heard[67].curve[0][1] == pytest.approx(FIFTH, abs=STEP)


# --- one-shot controllers ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("number", [84, 88])
def test_controllers_for_the_next_note_go_to_that_notes_channel(number):
    events = [
        *note(0, 960, 60),
        (480, f"control_change channel=0 control={number} value=48"),
        *note(480, 960, 64),
    ]
    data = retuned(events, (0.0, THIRD))
    assert [(t, m.channel) for t, m in events_of(data, "control_change") if m.control == number] == [(480, 1)]


# --- everything else --------------------------------------------------------------------------------------------


def test_texts_clock_and_sysex_stay_at_their_ticks():
    events = [
        (0, "meta copyright text=x"),
        (0, "meta set_tempo tempo=700000"),
        (0, "meta time_signature numerator=6 denominator=8"),
        (0, "meta key_signature key=Eb"),
        (0, "sysex 7F 7F 04 01 00 64"),
        *triad(),
        (240, "meta lyrics text=la"),
        (480, "meta marker text=B"),
        (480, "meta cue_marker text=c"),
        (700, "meta text text=t"),
        (720, "meta set_tempo tempo=600000"),
        (800, "sysex 43 10 4C 02 01 00 01"),
    ]
    score = score_of([sorted(events, key=lambda e: e[0])], kind=0)
    result = encode(score, tuning_of(score, (0.0, THIRD, FIFTH)), Options()).files[0].data
    kept = [(t, str(m).rsplit(" time", 1)[0].split(", time")[0]) for t, _, m in Receiver(result).kept]
    plain = [(t, m) for t, m in zip(score.tracks[0].ticks.tolist(), score.tracks[0].messages, strict=True)]
    expected = [
        (t, str(m).rsplit(" time", 1)[0].split(", time")[0])
        for t, m in plain
        if m.is_meta or m.type == "sysex"
    ]
    assert kept == expected


def test_several_tracks_on_one_channel_are_one_instrument():
    """Right and left hand: the pedal of one track holds and reaches the notes of both."""
    tracks = [
        [
            (0, "control_change channel=0 control=64 value=127"),
            *note(0, 480, 72),
            (960, "control_change channel=0 control=64 value=0"),
        ],
        in_order(note(0, 480, 48), note(0, 480, 52)),
    ]
    score = score_of(tracks)
    data = encode(score, tuning_of(score, (FIFTH, 0.0, THIRD)), Options()).files[0].data
    assert all(h.state.controls[64] == 127 for h in hear(data))
    assert {h.track for h in hear(data) if h.key < 60} == {1}
    lifts = [(t, m.channel) for t, m in events_of(data, "control_change") if m.control == 64 and m.value == 0]
    assert lifts == [(960, 0), (960, 1), (960, 2)]

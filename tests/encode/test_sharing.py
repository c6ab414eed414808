"""More tunings than channels: what is shared, how far off it is, and who says so."""

from __future__ import annotations

import numpy as np
import pytest

from retune.check import check
from retune.encode import encode
from retune.options import Options
from tests.encode.build import in_order, note, score_of, tuning_of
from tests.encode.receiver import hear

TWENTY = [float(c) for c in np.linspace(-47.5, 47.5, 20)]  # 5 cents apart


def errors_of(data: bytes, wanted: dict[int, float]) -> dict[int, float]:
    """Distance from the wanted cents, by velocity."""
    return {h.velocity: abs(h.curve[0][1] - wanted[h.velocity]) for h in hear(data)}


def chord(cents, channel=0, on=0, off=480, first_velocity=1):
    return in_order(*(note(on, off, 30 + k, channel, velocity=first_velocity + k) for k in range(len(cents))))


def test_twenty_tunings_at_once_share_fifteen_channels_at_half_a_gap():
    """Five pairs of neighbours 5 cents apart meet half-way; no partition of them into 15 groups does better."""
    score = score_of([chord(TWENTY)])
    result = encode(score, tuning_of(score, TWENTY), Options())
    errors = errors_of(result.files[0].data, dict(enumerate(TWENTY, start=1)))
    assert max(errors.values()) == pytest.approx(2.5, abs=0.025)
    assert sum(e > 0.0123 for e in errors.values()) == 10
    assert result.worst_error_cents == pytest.approx(max(errors.values()), abs=1e-9)
    assert result.channels_used == 15
    (remark,) = result.remarks
    assert (remark.code, remark.where) == ("channels-full", "bar 1, beat 1")
    assert "10 notes share" in remark.message
    assert "2.5" in remark.message


def test_a_remark_for_each_bar():
    score = score_of([in_order(chord(TWENTY), chord(TWENTY, on=1920, off=2400, first_velocity=21))])
    result = encode(score, tuning_of(score, TWENTY * 2), Options())
    assert [r.where for r in result.remarks] == ["bar 1, beat 1", "bar 2, beat 1"]


def test_several_instruments_give_way_by_the_same_measure():
    """Four chords of five, wide apart in two instruments, close together in two: those two share."""
    wide, close = [-40.0, -20.0, 0.0, 20.0, 40.0], [-2.0, -1.0, 0.0, 1.0, 2.0]
    tracks = [
        in_order(*(note(0, 480, 60 + k, c, velocity=1 + 5 * c + k) for k in range(5))) for c in range(4)
    ]
    score = score_of(tracks)
    result = encode(score, tuning_of(score, [*wide, *close, *wide, *close]), Options())
    wanted = dict(enumerate([*wide, *close, *wide, *close], start=1))
    errors = errors_of(result.files[0].data, wanted)
    assert result.worst_error_cents == pytest.approx(max(errors.values()), abs=1e-9)
    assert max(errors.values()) <= 1.013
    assert all(errors[v] < 0.0123 for v in wanted if abs(wanted[v]) >= 20)


def test_notes_that_sound_are_not_moved_for_newcomers():
    held = [float(10 * k) for k in range(-7, 8)]  # fifteen, on all channels
    tracks = [in_order(chord(held, off=1920), note(960, 1920, 90, velocity=100))]
    score = score_of(tracks)
    result = encode(score, tuning_of(score, [*held, 33.0]), Options())
    heard = {h.velocity: h for h in hear(result.files[0].data)}
    assert all(len(h.curve) == 1 for h in heard.values())
    assert heard[100].curve[0][1] == pytest.approx(30.0, abs=0.0123)
    assert result.worst_error_cents == pytest.approx(3.0, abs=0.0123)


def test_a_lent_channel_is_its_owners_again_when_the_loan_ends_in_the_same_tick():
    """Fifteen instruments; the last one's channel is lent until tick 960, when it begins, and so does another's note.

    That other note comes first in the file and finds no channel. It shares; the owner has its own and is in tune.
    """
    others = [note(0, 1920, 60, c, velocity=1 + c) for c in (*range(2, 9), *range(10, 15))]
    tracks = [
        in_order(note(0, 1920, 60, 0), note(960, 1920, 64, 0, velocity=101)),
        in_order(note(0, 1920, 48, 1), note(240, 960, 52, 1, velocity=102)),
        *others,
        note(960, 1920, 70, 15, velocity=103),
    ]
    score = score_of(tracks)
    wanted = {v: float(v * 7 % 40) - 20 for v in score.notes["velocity"].tolist()}
    result = encode(score, tuning_of(score, [wanted[v] for v in score.notes["velocity"].tolist()]), Options())
    heard = {h.velocity: h for h in hear(result.files[0].data)}
    assert [heard[v].channel for v in (101, 102, 103)] == [0, 15, 15]
    assert [abs(heard[v].curve[0][1] - wanted[v]) < 0.0123 for v in (101, 102, 103)] == [False, True, True]


def test_close_tunings_go_together_before_the_channels_run_out():
    """Twenty notes one after another, all held: taking each as it comes would leave the last ones far off."""
    cents = [
        0.0,
        0.4,
        10.0,
        10.4,
        20.0,
        20.4,
        30.0,
        30.4,
        40.0,
        40.4,
        50.0,
        55.0,
        60.0,
        65.0,
        70.0,
        75.0,
        80.0,
        85.0,
    ]
    tracks = [in_order(*(note(60 * k, 4800, 30 + k, velocity=1 + k) for k in range(len(cents))))]
    score = score_of(tracks)
    result = encode(score, tuning_of(score, cents), Options())
    assert result.worst_error_cents <= 0.5
    errors = errors_of(result.files[0].data, dict(enumerate(cents, start=1)))
    assert max(errors.values()) <= 0.5


def test_a_pedal_keeps_channels_taken():
    """Sixteen notes under a pedal: none may be retuned before the pedal lifts."""
    pedal = [
        (0, "control_change channel=0 control=64 value=127"),
        (4800, "control_change channel=0 control=64 value=0"),
    ]
    cents = [float(k) for k in range(16)]
    notes = [note(100 * k, 100 * k + 90, 40 + k, velocity=1 + k) for k in range(16)]
    score = score_of([sorted([*pedal, *in_order(*notes)], key=lambda e: e[0])])
    result = encode(score, tuning_of(score, cents), Options())
    assert all(tick >= 4800 for h in hear(result.files[0].data) for tick, _ in h.ringing)
    assert result.worst_error_cents <= 1.0


def test_further_ports_carry_what_one_port_cannot():
    tracks = [[(0, "meta track_name name=choir"), (0, "program_change channel=0 program=52"), *chord(TWENTY)]]
    score = score_of(tracks)
    result = encode(score, tuning_of(score, TWENTY), Options(when_full="ports"))
    heard = hear(result.files[0].data)
    assert result.worst_error_cents < 0.0123
    assert result.remarks == ()
    assert max(errors_of(result.files[0].data, dict(enumerate(TWENTY, start=1))).values()) < 0.0123
    assert sorted({h.port for h in heard}) == [0, 1]
    assert sum(h.port == 1 for h in heard) == 5
    assert all(h.state.program == (0, 0, 52) for h in heard)
    assert {(h.on, h.off, h.release) for h in heard} == {(0, 480, 64)}


def test_a_further_port_is_left_as_soon_as_there_is_room():
    tracks = [
        in_order(
            chord(TWENTY), *(note(9600 + 480 * k, 9900 + 480 * k, 60, velocity=50 + k) for k in range(4))
        )
    ]
    score = score_of(tracks)
    result = encode(score, tuning_of(score, [*TWENTY, 1.0, 2.0, 3.0, 4.0]), Options(when_full="ports"))
    assert {h.port for h in hear(result.files[0].data) if h.on >= 9600} == {0}


def test_controllers_reach_the_further_port():
    events = [
        (0, "control_change channel=0 control=7 value=80"),
        (240, "control_change channel=0 control=11 value=50"),
        (300, "pitchwheel channel=0 pitch=4096"),
    ]
    tracks = [sorted([*events, *chord(TWENTY)], key=lambda e: (e[0], not e[1].startswith("control")))]
    score = score_of(tracks)
    result = encode(score, tuning_of(score, TWENTY), Options(when_full="ports"))
    heard = hear(result.files[0].data)
    assert len(heard) == len(TWENTY)
    for h in heard:
        assert h.state.controls[7] == 80
        assert h.settings[11] == [(240, 50)]
        assert h.curve[-1][1] == pytest.approx(TWENTY[h.velocity - 1] + 100, abs=0.05)


def test_a_file_for_each_part_where_one_does_not_suffice():
    tracks = [
        [(0, "meta track_name name=tempo"), (0, "meta set_tempo tempo=600000"), (480, "meta marker text=A")],
        [
            (0, "meta track_name name=High-Voices"),
            (0, "program_change channel=0 program=52"),
            *chord(TWENTY[:10]),
        ],
        [(0, "meta track_name name=low"), *chord(TWENTY[10:], 1, first_velocity=11)],
    ]
    score = score_of(tracks)
    result = encode(score, tuning_of(score, TWENTY), Options(when_full="files"))
    assert [f.suffix for f in result.files] == ["-01-high-voices", "-02-low"]
    assert result.remarks[0].code == "one-file-a-part"
    assert result.worst_error_cents < 0.0123
    heard = [hear(f.data) for f in result.files]
    assert [sorted(h.velocity for h in part) for part in heard] == [list(range(1, 11)), list(range(11, 21))]
    for part in heard:
        assert all(abs(h.curve[0][1] - TWENTY[h.velocity - 1]) < 0.0123 for h in part)


def test_one_file_if_it_suffices():
    score = score_of([chord([0.0, 3.0])])
    assert len(encode(score, tuning_of(score, [0.0, 3.0]), Options(when_full="files")).files) == 1


MODULATION_DEPTH = (
    (101, 0),
    (100, 5),
)  # a parameter that starts from a known value, half a semitone: GM2 3.4
UNKNOWN = ((101, 0), (100, 7))  # the standards name no RPN 7, nor where it starts


def told(tick, channel, *controls):
    return [(tick, f"control_change channel={channel} control={n} value={v}") for n, v in controls]


def settings_changed(score, cents):
    tuning = tuning_of(score, cents)
    report = check(score, encode(score, tuning, Options()), intended=tuning)
    assert report.problems == ()
    return report.fidelity.settings_changed


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ((*UNKNOWN, (6, 53)), ()),
        ((*MODULATION_DEPTH, (6, 104)), (*MODULATION_DEPTH, (38, 33))),
        ((*MODULATION_DEPTH, (6, 104)), (*MODULATION_DEPTH, (96, 0), (96, 0))),
    ],
)
def test_what_one_part_was_told_is_not_in_force_for_the_next(first, second):
    """Channels whose parameters cannot be put back stay with their part where all are shared out anew. An LSB alone, or
    steps, count from the start of a parameter on a channel where it had another value, too."""
    early = [note(10 + k, 400, 60 + k, 1) for k in range(3)]
    late = chord(TWENTY, on=480, off=960)
    score = score_of([in_order(told(0, 1, *first), told(0, 0, *second), *early, late)])
    assert settings_changed(score, [-10.0, 0.0, 10.0, *TWENTY]) == 0


def test_a_step_reaches_each_channel_once():
    """A channel in silence is brought up to date before its next note: with the steps it has missed, and no more."""
    chords = [note(on, on + 90, 60 + k, 0) for on in (10, 20_000) for k in range(3)]
    score = score_of([in_order(told(0, 0, *UNKNOWN, (96, 0)), *chords, told(19_000, 0, (96, 0)))])
    assert settings_changed(score, [-10.0, 0.0, 10.0] * 2) == 0

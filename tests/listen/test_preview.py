"""What a listener hears: level, phrases in turn, loops, parts, drones, measured in the samples."""

from __future__ import annotations

import io
from dataclasses import replace
from math import inf

import mido
import numpy as np
import pytest

from retune.errors import OptionError
from retune.listen import Preview, Wishes, preview
from retune.score import read_score
from tests.listen.measure import amplitude, cents, decibels, measured_hz, rms
from tests.tuning.build import chords, hints, score_of, tuned

# The comma pump I-vi-ii-V-I of textbooks; here it gives chords with known just sizes.
PUMP = [[48, 60, 64, 67], [45, 57, 60, 64], [50, 57, 62, 65], [43, 59, 62, 67], [48, 60, 64, 67]]
ROOTS = [(0, "maj"), (9, "min"), (2, "min"), (7, "maj"), (0, "maj")]
QUARTER_S = 0.5


def pump(length: float = 4.0, **options: object) -> tuple:
    """Score, harmony and tuning of the pump, one chord a bar."""
    score = score_of(chords(PUMP, length=length, tie=False))
    harmony, _, tuning, _ = tuned(score, hints(ROOTS, length=length), **options)
    return score, harmony, tuning


def heard(**wishes: object) -> Preview:
    return preview(*pump(), Wishes(**wishes))


def part_of(sounding: Preview, start_s: float, end_s: float) -> np.ndarray:
    return sounding.samples[round(start_s * sounding.rate) : round(end_s * sounding.rate)]


@pytest.mark.parametrize("hear", ["retuned", "original", "ab"])
@pytest.mark.parametrize("peak", [-12.0, -24.5])
def test_the_peak_is_where_it_was_asked_for(hear: str, peak: float) -> None:
    sounding = heard(hear=hear, peak_dbfs=peak)
    assert decibels(np.abs(sounding.samples).max()) == pytest.approx(peak, abs=0.001)


def test_default_peak_is_twelve_decibels_below_full_scale() -> None:
    assert decibels(np.abs(heard().samples).max()) == pytest.approx(-12.0, abs=0.001)


@pytest.mark.parametrize(("hear", "wide"), [("retuned", 0.0), ("original", 13.686)])
def test_a_major_third_is_pure_when_retuned_and_wide_before(hear: str, wide: float) -> None:
    """5/4 is 386.314 cents, the tempered third 400 (Helmholtz/Ellis, App. XX)."""
    sounding = heard(hear=hear, sound="pure", first_bar=1)
    samples = part_of(sounding, 0.2, 1.9)
    third, root = (measured_hz(samples, hz, sounding.rate) for hz in (329.0, 261.6))
    assert cents(third, root) == pytest.approx(386.314 + wide, abs=0.05)


def test_halves_of_every_phrase_are_equally_loud() -> None:
    sounding = heard(hear="ab", sound="voice")
    assert [cue.what for cue in sounding.cues] == ["original", "retuned"] * (len(sounding.cues) // 2)
    for original, retuned in zip(sounding.cues[::2], sounding.cues[1::2], strict=True):
        assert (original.first_bar, original.last_bar) == (retuned.first_bar, retuned.last_bar)
        levels = [rms(part_of(sounding, cue.start_s, cue.end_s)) for cue in (original, retuned)]
        assert decibels(levels[0] / levels[1]) == pytest.approx(0.0, abs=0.001)


def test_halves_are_equally_loud_where_retuning_alone_would_make_one_softer() -> None:
    """Two tones in unison add up to twice the amplitude; out of tune they beat, with half that power: 3 dB less."""
    score = score_of([(part, 0.0, 4.0, 69) for part in (0, 1)])
    harmony, _, tuning, _ = tuned(score)
    offsets = tuning.offsets.copy()
    offsets["offset_cents"] = [0.0, 20.0]
    apart = replace(tuning, offsets=offsets)
    alone = [
        preview(score, harmony, apart, Wishes(hear=hear, peak_dbfs=-20.0)) for hear in ("original", "retuned")
    ]
    beating, steady = (part_of(sounding, 0.5, 1.5) for sounding in reversed(alone))
    assert decibels(rms(beating) / rms(steady)) < -2.0
    both = preview(score, harmony, apart, Wishes(hear="ab"))
    levels = [rms(part_of(both, cue.start_s, cue.end_s)) for cue in both.cues]
    assert len(levels) == 2
    assert decibels(levels[0] / levels[1]) == pytest.approx(0.0, abs=0.001)


def test_one_click_before_the_original_and_two_before_the_retuned() -> None:
    sounding = heard(hear="ab")
    counts = []
    ends = [0.0, *(cue.end_s for cue in sounding.cues)]
    for quiet_from, cue in zip(ends[:-1], sounding.cues, strict=True):
        gap = np.abs(part_of(sounding, quiet_from, cue.start_s))
        loud = np.flatnonzero(gap > 0.2 * gap.max())
        counts.append(1 + int(np.sum(np.diff(loud) > 0.05 * sounding.rate)))
    assert counts == [1, 2] * (len(sounding.cues) // 2)


@pytest.mark.parametrize("times", [1, 3])
def test_a_looped_bar_is_as_long_as_the_bar_and_repeats_exactly(times: int) -> None:
    sounding = heard(first_bar=2, times=times)
    bar = round(4 * QUARTER_S * sounding.rate)
    assert len(sounding.samples) == times * bar
    loops = sounding.samples.reshape(times, bar)
    assert (loops == loops[0]).all()
    assert np.abs(loops[:, [0, -1]]).max() < 1e-3  # no click where it begins again
    assert [cue.first_bar for cue in sounding.cues] == [2] * times


def test_half_speed_takes_twice_as_long_at_the_same_pitch() -> None:
    usual, slow = heard(first_bar=1, sound="pure"), heard(first_bar=1, sound="pure", speed=0.5)
    assert len(slow.samples) == 2 * len(usual.samples)
    hz = [measured_hz(part_of(s, 0.2, 1.8), 261.6, s.rate) for s in (usual, slow)]
    assert cents(*hz) == pytest.approx(0.0, abs=0.01)


def test_a_held_note_keeps_its_level_to_the_end_and_a_pedalled_one_dies_away() -> None:
    """CC 64 at 64 and above is down (MIDI 1.0 Detailed Specification 4.2.1, p. 20)."""
    track = mido.MidiTrack(
        [
            mido.Message("control_change", control=64, value=127),
            mido.Message("note_on", note=69, velocity=80),
            mido.Message("note_off", note=69, time=480),
            mido.Message("control_change", control=64, value=0, time=3 * 480),
            mido.Message("note_on", note=69, velocity=80),
            mido.Message("note_off", note=69, time=4 * 480),
        ]
    )
    data = io.BytesIO()
    mido.MidiFile(type=1, ticks_per_beat=480, tracks=[track]).save(file=data)
    score = read_score(data.getvalue())
    harmony, _, tuning, _ = tuned(score)
    sounding = preview(score, harmony, tuning, Wishes(sound="pure"))
    start, pedalled, held = (rms(part_of(sounding, t, t + 0.1)) for t in (0.2, 1.7, 3.7))
    assert decibels(held / start) == pytest.approx(0.0, abs=0.2)
    assert decibels(pedalled / start) < -10.0


def test_a_part_alone_has_nothing_of_the_others() -> None:
    alone = heard(parts=("voice 3",), sound="pure", first_bar=1)
    samples = part_of(alone, 0.2, 1.8)
    mine = amplitude(samples, measured_hz(samples, 392.4, alone.rate), alone.rate)
    assert max(decibels(amplitude(samples, hz, alone.rate) / mine) for hz in np.arange(255.0, 340.0)) < -80.0


def test_the_rest_is_about_ten_decibels_softer() -> None:
    beside = heard(parts=("voice 3",), beside="rest", sound="pure", first_bar=1)
    samples = part_of(beside, 0.2, 1.8)
    found = (measured_hz(samples, hz, beside.rate) for hz in (261.6, 392.4))
    rest, mine = (amplitude(samples, hz, beside.rate) for hz in found)
    assert decibels(rest / mine) == pytest.approx(decibels(0.3), abs=0.1)


def test_the_drone_stands_on_the_root_and_makes_the_part_pure() -> None:
    """The third of the D minor chord in bar 3 lies 6/5 and two octaves over the root (6/5: 315.641 cents)."""
    sounding = heard(parts=("4",), beside="drone", sound="pure", first_bar=3)
    samples = part_of(sounding, 0.2, 1.8)
    part, root = (measured_hz(samples, hz, sounding.rate) for hz in (349.2, 73.4))
    assert cents(part, root) == pytest.approx(1200 * 2 + 315.641, abs=0.05)


def test_the_drone_of_the_original_is_tempered() -> None:
    sounding = heard(hear="original", parts=("4",), beside="drone", sound="pure", first_bar=3)
    samples = part_of(sounding, 0.2, 1.8)
    part, root = (measured_hz(samples, hz, sounding.rate) for hz in (349.2, 73.4))
    assert cents(part, root) == pytest.approx(2700.0, abs=0.05)


def test_reference_pitch_moves_original_part_and_drone_alike() -> None:
    """A4 = 415 Hz; offsets count from A4 = 440 Hz, so they hold the shift, roots count from the reference."""
    score, harmony, tuning = pump()
    offsets = tuning.offsets.copy()
    offsets["offset_cents"] += 1200.0 * np.log2(415.0 / 440.0)
    low = replace(tuning, offsets=offsets)

    def hz(near: float, **wishes: object) -> float:
        sounding = preview(
            score, harmony, low, Wishes(sound="pure", first_bar=2, **wishes), reference_hz=415.0
        )
        return measured_hz(part_of(sounding, 0.2, 1.8), near, sounding.rate)

    assert hz(207.5, hear="original") == pytest.approx(207.5, abs=0.001)
    drone = hz(103.75, parts=("2",), beside="drone")
    assert cents(hz(207.5, parts=("2",), beside="drone"), drone) == pytest.approx(1200.0, abs=0.05)


def test_a_piece_that_drifts_is_heard_drifting() -> None:
    """Held common tones and no limit: the last chord of the pump is 81/80, 21.506 cents, below the first."""
    score = score_of(chords(PUMP, length=4.0))
    free = {"drift_limit_cents": inf, "hold_limit_cents": 0.0, "line_weight": 0.0}
    harmony, _, tuning, _ = tuned(score, hints(ROOTS, length=4.0), **free)
    hz = []
    for bar in (1, 5):
        sounding = preview(score, harmony, tuning, Wishes(sound="pure", first_bar=bar))
        hz.append(measured_hz(part_of(sounding, 0.2, 1.8), 130.8, sounding.rate))
    assert cents(hz[1], hz[0]) == pytest.approx(-21.506, abs=0.05)


def test_drums_are_clicks_when_asked_for(samples: dict[str, bytes]) -> None:
    score = read_score(samples["pop_loop"])
    harmony, _, tuning, _ = tuned(score)
    without, with_drums = (
        preview(score, harmony, tuning, Wishes(first_bar=1, drums=d)) for d in (False, True)
    )
    difference = (
        with_drums.samples / np.abs(with_drums.samples).max()
        - without.samples / np.abs(without.samples).max()
    )
    assert np.abs(difference).max() > 0.1


def test_progress_runs_from_nothing_to_nearly_all_and_never_back() -> None:
    told: list[float] = []
    preview(*pump(), Wishes(hear="ab"), on_progress=told.append)
    assert told == sorted(told)
    assert told[0] == 0.0
    assert 0.5 <= told[-1] <= 1.0


@pytest.mark.parametrize(
    ("wishes", "message"),
    [
        ({"first_bar": 9}, "bar 9: no notes there; the music has bars 1 to 5"),
        ({"first_bar": 3, "last_bar": 2}, "bars 3-2: no notes there"),
        ({"parts": ("Flute",)}, "part 'Flute': no such part; the parts are 1 voice 0, 2 voice 1"),
        ({"parts": ("0",)}, "part '0': no such part"),
    ],
)
def test_what_is_not_there_is_said_plainly(wishes: dict[str, object], message: str) -> None:
    with pytest.raises(OptionError, match=message):
        heard(**wishes)


@pytest.mark.parametrize(
    ("wishes", "message"),
    [
        ({"hear": "both"}, "hear: 'both' is not one of retuned, original, ab"),
        ({"beside": "drone"}, "with drone: say which part it goes with"),
        ({"peak_dbfs": 0.0}, "peak: 0 dB is outside -60 to -1"),
        ({"speed": 0.0}, "speed: 0 is outside 0.1 to 4"),
        ({"times": 0}, "times: 0 is outside 1 to 1000"),
        ({"rate": 8000}, "sample rate: 8000 is not one of 22050"),
        ({"sound": "choir"}, "sound: 'choir' is not one of organ"),
    ],
)
def test_wishes_that_cannot_be_obeyed(wishes: dict[str, object], message: str) -> None:
    with pytest.raises(OptionError, match=message):
        Wishes(**wishes)


def test_a_silent_stretch_of_a_part_is_said_to_be_silent() -> None:
    score = score_of([(0, 0.0, 4.0, 60), (1, 4.0, 4.0, 64)])
    harmony, _, tuning, _ = tuned(score)
    with pytest.raises(OptionError, match="the parts asked for are silent there"):
        preview(score, harmony, tuning, Wishes(parts=("voice 0",), first_bar=2))


def test_hours_of_sound_are_refused_before_memory_runs_out() -> None:
    with pytest.raises(OptionError, match=r"this would be 5\.6 hours of sound, too long"):
        heard(times=1000, speed=0.5)


def test_crowds_of_long_tones_are_refused_before_the_day_is_over() -> None:
    score = score_of([(0, 0.0, 14_000.0, key) for key in range(30, 100)])
    harmony, _, tuning, _ = tuned(score)
    message = (
        r"the tones would sound 136 hours one after another, too long to work out; choose bars \(--bars\)"
    )
    with pytest.raises(OptionError, match=message):
        preview(score, harmony, tuning, Wishes(hear="retuned", rate=44100))

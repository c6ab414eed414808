"""The exact tone, measured in the samples."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.listen.heard import HEARD_DTYPE
from retune.listen.spectra import AMPLITUDES, HIGHEST_PARTIAL_HZ
from retune.listen.tone import FADE_S, add_clicks, render_tones
from tests.listen.measure import amplitude, cents, decibels, measured_hz

RATE = 44100
SECONDS = 6.0


def rows(*tones: tuple[int, float, float, float], velocity: int = 100) -> np.ndarray:
    """Tones as (key, offset, start, end), each of one row."""
    result = np.zeros(len(tones), HEARD_DTYPE)
    for i, (key, offset, start, end) in enumerate(tones):
        result[i] = (i, 0, start, end, end, key, offset, velocity, 1.0)
    return result


# Just sizes of root-position chords, cents from the equal-tempered place: computed from 5/4, 6/5, 3/2, 7/4
# (Helmholtz, On the Sensations of Tone, 1885, App. XX: 386.31, 315.64, 701.96, 968.83).
CHORDS = {
    "4:5:6:7": [(60, 0.0), (64, -13.6863), (67, 1.9550), (70, -31.1741)],
    "10:12:15": [(57, 4.2), (60, 4.2 + 15.6413), (64, 4.2 + 1.9550)],
}


@pytest.mark.parametrize("name", CHORDS)
@pytest.mark.parametrize("sound", ["pure", "organ", "voice"])
def test_partials_stand_in_pure_ratios_within_a_twentieth_of_a_cent(name: str, sound: str) -> None:
    whole = [int(n) for n in name.split(":")]
    chord = [(key, offset, 0.0, SECONDS) for key, offset in CHORDS[name]]
    samples = render_tones(rows(*chord), sound=sound, rate=RATE, length_s=SECONDS)
    steady = samples[RATE // 2 : -RATE // 2]
    root = measured_hz(steady, 440.0 * 2 ** ((chord[0][0] - 69) / 12 + chord[0][1] / 1200), RATE)
    for n, (key, offset, _, _) in zip(whole, chord, strict=True):
        found = measured_hz(steady, 440.0 * 2 ** ((key - 69) / 12 + offset / 1200), RATE)
        assert cents(found, root) == pytest.approx(cents(n, whole[0]), abs=0.05)


def test_overtones_are_exact_multiples() -> None:
    """Partials 2 to 8 of one organ tone."""
    samples = render_tones(rows((45, 7.0, 0.0, SECONDS)), sound="organ", rate=RATE, length_s=SECONDS)
    base = measured_hz(samples[RATE:-RATE], 110.0 * 2 ** (7 / 1200), RATE)
    for k in range(2, 9):
        assert cents(measured_hz(samples[RATE:-RATE], k * base, RATE), k * base) == pytest.approx(
            0.0, abs=0.001
        )


def test_a_tone_after_a_long_silence_is_the_same_tone() -> None:
    early = render_tones(rows((69, 3.3, 0.25, 2.25)), sound="organ", rate=RATE, length_s=3.0)
    late = render_tones(rows((69, 3.3, 50.25, 52.25)), sound="organ", rate=RATE, length_s=53.0)
    np.testing.assert_allclose(late[50 * RATE :], early, atol=1e-9)


def test_phase_is_still_exact_after_two_minutes() -> None:
    """A sine held for two minutes against the same sine computed in one go."""
    hz = 440.0 * 2 ** (3.3 / 1200)
    samples = render_tones(rows((69, 3.3, 0.0, 120.0)), sound="pure", rate=22050, length_s=120.0)
    n = np.arange(118 * 22050, 119 * 22050)
    expected = np.cos(2 * np.pi * np.mod(hz * n / 22050, 1.0)) * 100 / 127
    np.testing.assert_allclose(samples[n], expected, atol=1e-8)


def test_a_change_of_offset_keeps_the_phase() -> None:
    """A sine of amplitude a never steps further than a·ω between two samples; a broken phase would."""
    tone = np.concatenate(
        [rows((72, 0.0, 0.0, 1.0)), rows((72, 20.0, 1.0, 2.0)), rows((72, -15.0, 2.0, 3.0))]
    )
    tone["tone"], tone["release_s"] = 0, 3.0
    samples = render_tones(tone, sound="pure", rate=RATE, length_s=3.0)
    largest = np.abs(samples).max() * 2 * np.pi * 523.26 * 2 ** (20 / 1200) / RATE
    assert np.abs(np.diff(samples)).max() <= largest * 1.0001
    for second, offset in ((0, 0.0), (1, 20.0), (2, -15.0)):
        part = samples[int((second + 0.1) * RATE) : int((second + 0.9) * RATE)]
        near = 440.0 * 2 ** (3 / 12 + offset / 1200)
        assert cents(measured_hz(part, near, RATE), near) == pytest.approx(0.0, abs=0.01)


def test_tones_begin_and_end_in_silence_and_do_not_click() -> None:
    samples = render_tones(rows((60, 0.0, 0.5, 1.0)), sound="organ", rate=RATE, length_s=2.0)
    assert not samples[: RATE // 2].any()
    assert not samples[int((1.0 + FADE_S) * RATE) + 1 :].any()
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    above = np.fft.rfftfreq(len(samples), 1 / RATE) > 6000.0  # the twelfth partial of middle C is at 3140 Hz
    assert decibels(spectrum[above].max() / spectrum.max()) < -70.0


def test_pedal_alone_lets_the_tone_die_away() -> None:
    held = rows((60, 0.0, 0.0, 3.0))
    held["release_s"] = 1.0
    samples = render_tones(held, sound="pure", rate=RATE, length_s=3.0)
    before, after = (np.abs(samples[int(t * RATE) : int((t + 0.1) * RATE)]).max() for t in (0.8, 2.8))
    assert after < 0.1 * before


@pytest.mark.parametrize("sound", list(AMPLITUDES))
@pytest.mark.parametrize("rate", [22050, 44100])
def test_no_partial_lies_above_what_the_sample_rate_can_carry(sound: str, rate: int) -> None:
    for key in range(128):
        hz = 440.0 * 2 ** ((key - 69) / 12)
        amplitudes = AMPLITUDES[sound](hz, rate)
        assert np.sum(amplitudes**2) == pytest.approx(1.0)
        assert len(amplitudes) == 1 or len(amplitudes) * hz <= min(HIGHEST_PARTIAL_HZ, 0.45 * rate)


def test_velocity_and_gain_set_the_level() -> None:
    def level(velocity: int, gain: float) -> float:
        tone = rows((69, 0.0, 0.0, 1.0), velocity=velocity)
        tone["gain"] = gain
        samples = render_tones(tone, sound="pure", rate=RATE, length_s=1.0)
        return amplitude(samples[RATE // 4 : 3 * RATE // 4], 440.0, RATE)

    assert decibels(level(127, 1.0) / level(64, 1.0)) == pytest.approx(decibels(127 / 64), abs=0.01)
    assert decibels(level(100, 1.0) / level(100, 0.5)) == pytest.approx(6.02, abs=0.01)


def test_clicks_stand_where_the_strokes_are() -> None:
    from retune.listen.heard import CLICK_DTYPE

    samples = np.zeros(RATE)
    add_clicks(samples, np.array([(0.25, 1.0), (0.999, 0.5)], CLICK_DTYPE), RATE)
    loud = np.flatnonzero(np.abs(samples) > 0.05)
    assert loud[0] == pytest.approx(0.25 * RATE, abs=20)
    assert set(np.unique(loud // (RATE // 10))) == {2, 9}


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 127),
            st.floats(-60, 60),
            st.floats(0.0, 2.0),
            st.floats(0.0005, 1.5),
        ),
        max_size=6,
    ),
    st.sampled_from(sorted(AMPLITUDES)),
)
def test_any_tones_give_finite_samples_of_the_length_asked_for(
    tones: list[tuple[int, float, float, float]], sound: str
) -> None:
    made = rows(*[(key, offset, start, start + length) for key, offset, start, length in tones])
    samples = render_tones(made, sound=sound, rate=22050, length_s=2.5)
    assert len(samples) == 55125
    assert np.isfinite(samples).all()
    assert (
        np.abs(samples).max(initial=0.0)
        <= sum(np.abs(AMPLITUDES[sound](50.0, 22050)).sum() for _ in tones) + 1e-9
    )


def test_a_long_tone_worked_out_in_blocks_is_the_same_tone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two rows of one tone, then the pedal: one block, and blocks shorter than the fade."""
    tone = np.zeros(2, HEARD_DTYPE)
    tone[0] = (0, 0, 0.1, 0.6, 0.9, 60, 0.0, 100, 1.0)
    tone[1] = (0, 0, 0.6, 1.5, 0.9, 60, 20.0, 100, 1.0)
    whole = render_tones(tone, sound="organ", rate=RATE, length_s=2.0)
    monkeypatch.setattr("retune.listen.tone._BLOCK", 1500)
    assert np.abs(render_tones(tone, sound="organ", rate=RATE, length_s=2.0) - whole).max() < 1e-9

"""Beats and roughness against published tables."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from retune.check.measures.pairs import consonant_pairs
from retune.check.measures.tuned import TunedNotes, equal_tempered
from retune.compare.sound import (
    beat_rates,
    mean_beat_rate,
    mean_roughness,
    plomp_levelt,
    roughness,
)
from tests.tuning.build import score_of


def two_notes(low, high, low_cents=0.0, high_cents=0.0):
    """Two keys held together for a quarter."""
    return TunedNotes(
        ticks_per_quarter=480.0,
        onset=np.zeros(2, np.int64),
        release=np.full(2, 480),
        key=np.array([low, high]),
        part=np.arange(2),
        note=np.arange(2),
        start=np.zeros(2, np.int64),
        end=np.full(2, 480),
        cents=np.array([low_cents, high_cents]),
    )


def beats(*notes):
    held = two_notes(*notes)
    return float(beat_rates(held, consonant_pairs(held))[0])


def test_a_septimal_third_beats_by_its_own_partials():
    """7/6 at prime limit 7: partial 6 of the upper note on partial 7 of the lower; as 6/5 it would beat wildly."""
    held = two_notes(60, 63, 0.0, -33.129)
    assert float(beat_rates(held, consonant_pairs(held, 7))[0]) == pytest.approx(0.0, abs=0.01)
    assert float(beat_rates(held, consonant_pairs(held, 5))[0]) > 30.0


# Capleton, Theory and Practice of Piano Tuning, 2007, as reprinted in J. Neurosci. 32(35), 2012, Table 1:
# beats per second in equal temperament at A = 440, to a tenth. MIDI keys: F3 = 53.
BEAT_TABLE = {
    ("F3", "A3"): 6.9, ("F#3", "A#3"): 7.3, ("G3", "B3"): 7.8, ("Ab3", "C4"): 8.2, ("A3", "C#4"): 8.7,
    ("C4", "E4"): 10.4, ("F3", "C4"): 0.6, ("A3", "E4"): 0.7, ("F3", "Bb3"): 0.8, ("A3", "D4"): 1.0,
    ("F3", "D4"): 7.9, ("A3", "F#4"): 10.0,
}  # fmt: skip
KEYS = {"F3": 53, "F#3": 54, "G3": 55, "Ab3": 56, "A3": 57, "A#3": 58, "Bb3": 58, "B3": 59, "C4": 60, "C#4": 61,
        "D4": 62, "E4": 64, "F#4": 66}  # fmt: skip


@pytest.mark.parametrize(("low", "high"), BEAT_TABLE)
def test_beat_rates_match_the_tuners_table(low, high):
    assert round(beats(KEYS[low], KEYS[high]), 1) == BEAT_TABLE[low, high]


@pytest.mark.parametrize(
    ("interval", "pure_cents"),
    [(3, 15.641), (4, -13.686), (5, -1.955), (7, 1.955), (8, 13.686), (9, -15.641)],
)
@pytest.mark.parametrize("octaves", [0, 1, 2])
def test_pure_intervals_do_not_beat(interval, pure_cents, octaves):
    """Deviations of the just sizes after Helmholtz/Ellis 1885; also a tenth, a twelfth, ..."""
    assert beats(57, 57 + interval + 12 * octaves, 0.0, pure_cents) < 0.002
    assert beats(57, 57 + interval + 12 * octaves, 0.0, pure_cents + 5) > 0.5


def test_wide_intervals_beat_at_their_own_lowest_partials():
    """A twelfth beats 3·f1 against f2, not 3·f1 against 2·f2 as a fifth does: a third of a hertz at A3."""
    assert beats(57, 76) == pytest.approx(abs(3 * 220 - 440 * 2 ** (7 / 12)), abs=1e-9)
    assert beats(57, 69, 0.0, 3.93) == pytest.approx(1.0, abs=0.002)  # 1 Hz at 440 is 3.93 cents


# Vassilakis, diss. UCLA 2001, p. 210: roughness of the twelve dyads on 262 Hz, six partials of 1/k, minor second
# to octave. His partials were measured from sound and slightly inharmonic (p. 208), ours are exact.
VASSILAKIS = [40.38, 27.62, 18.12, 16.00, 11.45, 12.83, 6.18, 10.10, 5.78, 6.21, 7.00, 1.59]


def test_roughness_follows_vassilakis_table_of_dyads():
    own = 100 * roughness(np.full(12, 262.0), 262.0 * 2 ** (np.arange(1, 13) / 12))
    assert np.corrcoef(own, VASSILAKIS)[0, 1] > 0.997
    assert np.abs(own - VASSILAKIS).max() < 2.1


@pytest.mark.parametrize(
    ("low_hz", "peak_hz"), [(110, 19.5), (220, 21.6), (440, 25.8), (880, 34.2), (1760, 50.9)]
)
def test_two_sines_are_roughest_where_the_curve_says(low_hz, peak_hz):
    """Sethares, JASA 94(3), 1993: the peak of his fit lies at s·Δf = ln(b2/b1)/(b2 − b1) and is 0.18077."""
    apart = np.arange(1.0, 100.0, 0.05)
    curve = plomp_levelt(np.full(len(apart), float(low_hz)), apart)
    assert apart[np.argmax(curve)] == pytest.approx(peak_hz, abs=0.1)
    assert curve.max() == pytest.approx(0.18077, abs=1e-5)


@pytest.mark.parametrize(("interval", "ratio"), [(7, 3 / 2), (4, 5 / 4), (3, 6 / 5), (9, 5 / 3)])
def test_pure_dyads_are_smoother_than_tempered_ones(interval, ratio):
    low = np.array([261.6256])
    assert roughness(low, low * ratio) < roughness(low, low * 2 ** (interval / 12))


def test_means_weigh_by_the_time_pairs_sound():
    """A fifth held three times as long as a third counts three times."""
    score = score_of([(0, 0, 1, 60), (1, 0, 1, 64), (0, 2, 3, 60), (1, 2, 3, 67)])
    notes = equal_tempered(score)
    pairs = consonant_pairs(notes)
    third, fifth = beats(60, 64), beats(60, 67)
    assert mean_beat_rate(notes, pairs) == pytest.approx((third + 3 * fifth) / 4)
    c, e, g = (np.array([261.6256 * 2 ** (step / 12)]) for step in (0, 4, 7))
    expected = 100 * (roughness(c, e)[0] + 3 * roughness(c, g)[0]) / 4
    assert mean_roughness(notes) == pytest.approx(expected, rel=1e-4)


def test_many_dyads_are_measured_in_portions(monkeypatch):
    score = score_of([(0, at, 1, 60) for at in range(6)] + [(1, at, 1, 61 + at) for at in range(6)])
    whole = mean_roughness(equal_tempered(score))
    monkeypatch.setattr("retune.compare.sound.DYADS_AT_ONCE", 4)
    assert mean_roughness(equal_tempered(score)) == pytest.approx(whole, rel=1e-12)


def test_a_line_alone_has_neither_beats_nor_roughness():
    notes = equal_tempered(score_of([(0, 0, 1, 60), (0, 1, 1, 64)]))
    assert mean_beat_rate(notes, consonant_pairs(notes)) is None
    assert mean_roughness(notes) is None


@given(st.integers(30, 80), st.sampled_from([0, 3, 4, 5, 7, 8, 9, 12, 15, 16, 19]), st.floats(-50, 50))
def test_beats_grow_with_the_register(low, interval, cents):
    """An octave higher, the same mistuning beats twice as fast."""
    once, twice = beats(low, low + interval, 0.0, cents), beats(low + 12, low + interval + 12, 0.0, cents)
    assert twice == pytest.approx(2 * once, abs=1e-6)

"""Which fixed temperaments suit a piece."""

import numpy as np
import pytest

from retune.check.measures.figures import figures
from retune.check.measures.tuned import equal_tempered, tuned
from retune.compare.choose import best_fixed, consonance_ticks
from retune.harmony import find_harmony
from retune.tuning.fixed import fixed_tuning
from retune.tuning.temperaments import TEMPERAMENTS, temperament
from tests.tuning.build import chords, score_of

CADENCE = [[48, 55, 64, 72], [53, 57, 65, 72], [55, 59, 62, 74], [48, 55, 64, 72]]  # I IV V I in C


def transposed(semitones):
    return score_of(chords([[key + semitones for key in chord] for chord in CADENCE]))


def mean_deviation(score, offsets):
    return figures(tuned(score, fixed_tuning(score, None, offsets))).mean_deviation_cents


def test_just_scale_of_the_key_is_found():
    """I, IV and V are pure in the just scale on their tonic (Helmholtz/Ellis 1885)."""
    just = best_fixed(transposed(0))[-1]
    assert just.name == "just on C"
    assert just.mean_deviation_cents == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("semitones", range(12))
def test_the_tonic_follows_the_music(semitones):
    """I IV V I is as pure on the scale a third above; then the key's own tonic is taken."""
    score = transposed(semitones)
    just = best_fixed(score, key=find_harmony(score).main_key())[-1]
    names = ["C", "D♭", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B"]  # common practice, no source
    assert just.name == f"just on {names[semitones]}"
    assert just.mean_deviation_cents == pytest.approx(0.0, abs=1e-9)


def test_choice_is_the_best_of_all_tonics_measured_one_by_one():
    score = transposed(3)
    choices = best_fixed(score, temperaments=len(TEMPERAMENTS))
    assert {choice.name.split(" on ")[0] for choice in choices} == set(TEMPERAMENTS)
    for choice in choices[1:]:
        name = choice.name.split(" on ")[0]
        all_tonics = [mean_deviation(score, temperament(name, tonic_pc=tonic)) for tonic in range(12)]
        assert choice.mean_deviation_cents == pytest.approx(min(all_tonics), abs=1e-9)
        assert mean_deviation(score, choice.offsets) == pytest.approx(min(all_tonics), abs=1e-9)
        assert np.array_equal(choice.offsets, temperament(choice.name))


def test_equal_comes_first_and_the_best_fitting_follow():
    equal, *others, _just = best_fixed(transposed(0), temperaments=3)
    assert equal.name == "equal"
    assert equal.mean_deviation_cents == pytest.approx(mean_deviation(transposed(0), np.zeros(12)))
    deviations = [choice.mean_deviation_cents for choice in others]
    assert len(others) == 3
    assert deviations == sorted(deviations)


def test_time_table_holds_each_consonant_pair_under_its_lower_note():
    """C4 E4 G4 for a quarter, B4 for half of it: C–E, C–G, E–G, E–B, G–B; C–B is no consonance."""
    ticks = consonance_ticks(score_of([(0, 0, 1, 60), (1, 0, 1, 64), (2, 0, 1, 67), (3, 0.5, 0.5, 71)]))
    assert {(int(low), int(step)): ticks[low, step] for low, step in np.argwhere(ticks)} == {
        (0, 4): 480,
        (0, 7): 480,
        (4, 3): 480,
        (4, 7): 240,
        (7, 4): 240,
    }


def test_music_without_pairs_still_gets_an_answer():
    score = score_of([(0, 0, 1, 60)])
    assert len(equal_tempered(score).note) == 1
    assert [choice.mean_deviation_cents for choice in best_fixed(score)] == [0.0] * 4

"""Fewest retunings: exactness against brute force, and cases that can be worked out by hand."""

from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from retune.errors import OptionError
from retune.harmony import find_harmony
from retune.passages import find_passages
from retune.ratios import choose_ratios
from tests.tuning.build import chords, hints, score_of

MAJOR, MINOR = (0, 4, 7), (0, 3, 7)


def analysed(roots):
    keys = [[60 + (r + s) % 12 for s in (MAJOR if kind == "maj" else MINOR)] for r, kind in roots]
    score = score_of(chords(keys, tie=False))
    harmony = find_harmony(score, hints=hints(roots))
    return score, harmony, choose_ratios(harmony)


def servable(roots, tolerance, drift):
    """Whether one table serves all chords, by linear programming over the table and the displacements."""
    rows, right = [], []
    for k, (root, kind) in enumerate(roots):
        third = -13.6863 if kind == "maj" else 15.6413
        for semitones, cents in zip(MAJOR if kind == "maj" else MINOR, (0.0, third, 1.9550), strict=True):
            row = np.zeros(12 + len(roots))
            row[(root + semitones) % 12], row[12 + k] = 1.0, -1.0
            rows += [row, -row]
            right += [cents + tolerance, -cents + tolerance]
    bounds = [(None, None)] * 12 + [(-drift, drift)] * len(roots)
    return linprog(np.zeros(12 + len(roots)), A_ub=rows, b_ub=right, bounds=bounds).status == 0


def fewest_by_brute_force(roots, tolerance, drift):
    for cuts in range(len(roots)):
        for places in combinations(range(1, len(roots)), cuts):
            edges = [0, *places, len(roots)]
            if all(servable(roots[a:b], tolerance, drift) for a, b in pairwise(edges)):
                return cuts + 1
    raise AssertionError("a single chord can always be served")


@settings(max_examples=15, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 11), st.sampled_from(["maj", "min"])), min_size=1, max_size=6),
    st.sampled_from([0.5, 3.0, 8.0]),
)
def test_never_more_passages_than_the_best_of_all_divisions(roots, tolerance):
    found = find_passages(*analysed(roots), tolerance_cents=tolerance, drift_limit_cents=15.0)
    assert len(found.passages) == fewest_by_brute_force(roots, tolerance, 15.0)
    assert all(passage.worst_cents <= tolerance + 0.01 for passage in found.passages)
    assert found.passages[0].first_window == 0
    assert found.passages[-1].last_window == len(roots) - 1


def test_a_comma_pump_needs_a_retuning_unless_the_tolerance_takes_the_comma():
    """I vi ii V I lacks a comma of 21.506 cents: five pure links of the ring can take 21.506 / 8 = 2.69 each way."""
    roots = [(0, "maj"), (9, "min"), (2, "min"), (7, "maj"), (0, "maj")]
    strict = find_passages(*analysed(roots), tolerance_cents=1.0)
    assert len(strict.passages) == 2
    assert strict.retunings == 1
    assert len(find_passages(*analysed(roots), tolerance_cents=6.0).passages) == 1


def test_first_table_is_the_just_chord():
    found = find_passages(*analysed([(0, "maj")]), tolerance_cents=0.5, drift_limit_cents=15.0)
    offsets = found.passages[0].offsets_cents
    assert offsets[4] - offsets[0] == pytest.approx(-13.69, abs=1.0)
    assert offsets[7] - offsets[0] == pytest.approx(1.96, abs=1.0)


def test_one_offset_a_part():
    score, harmony, ratios = analysed([(0, "maj"), (5, "maj")])
    found = find_passages(score, harmony, ratios, tolerance_cents=20.0, by_part=True)
    assert found.slots == tuple(part.name for part in score.parts)
    assert len(found.passages[0].offsets_cents) == 3


@pytest.mark.parametrize("tolerance", [0.0, -1.0, float("nan")])
def test_a_tolerance_must_be_above_zero(tolerance):
    with pytest.raises(OptionError, match=r"tolerance: .* is not a number of cents above 0"):
        find_passages(*analysed([(0, "maj")]), tolerance_cents=tolerance)


def test_a_part_that_plays_two_chord_tones_needs_room():
    score = score_of([(0, 0.0, 1.0, 60), (0, 1.0, 1.0, 64), (1, 0.0, 2.0, 67)])
    harmony = find_harmony(score, hints=hints([(0, "maj")]))
    with pytest.raises(OptionError, match="no table comes within 1 cent of the chord at bar 1, beat 1"):
        find_passages(score, harmony, choose_ratios(harmony), tolerance_cents=1.0, by_part=True)

"""Long pieces are solved in stretches, and come out as if they had been solved whole."""

import math

import numpy as np
import pytest

from retune.options import Options
from retune.pipeline import analyze
from retune.tuning.along import minimise_along
from retune.tuning.interior import minimise
from retune.tuning.solve import set_up
from tests.benchmarks.music import generated
from tests.score.real_music import real_file

OWN_TOLERANCE = 1e-7  # relative; the method closes a gap of 1e-8 in each stretch


def setup_of(data, options):
    analysis = analyze(data, options)
    return set_up(analysis.score, analysis.harmony, analysis.ratios, options)


@pytest.mark.parametrize("options", [Options(), Options(fixed=("part 1",))], ids=["free", "fixed part"])
def test_stretches_cost_no_more_than_the_whole(options):
    setup = setup_of(generated(4_000), options)
    problem = setup.problem
    whole = minimise(problem)
    pieced = minimise_along(problem, setup.when, stretch=1_000, ahead=1_000)
    assert pieced.settled
    assert not np.array_equal(pieced.x, whole.x)  # it did go another way
    best = problem.objective(whole.x)
    assert problem.objective(pieced.x) <= best * (1 + OWN_TOLERANCE)
    assert np.all(pieced.x > problem.lower)
    assert np.all(pieced.x < problem.upper)


def test_without_a_look_ahead_they_would_cost_more():
    setup = setup_of(generated(4_000), Options())
    blind = minimise_along(setup.problem, setup.when, stretch=1_000, ahead=0)
    best = setup.problem.objective(minimise(setup.problem).x)
    assert setup.problem.objective(blind.x) > best * (1 + 10 * OWN_TOLERANCE)


def test_a_madrigal_in_many_stretches_is_the_madrigal_whole():
    setup = setup_of(real_file("monteverdi/madrigal.3.1"), Options())
    whole = minimise(setup.problem)
    pieced = minimise_along(setup.problem, setup.when, stretch=200, ahead=200)
    assert pieced.x == pytest.approx(whole.x, abs=1e-3)


@pytest.mark.parametrize(
    "options", [Options(hold_limit_cents=10.0), Options(drift_limit_cents=math.inf)], ids=["hold", "drift"]
)
def test_what_reaches_from_end_to_end_is_solved_whole(options):
    """Notes that may move within a limit, and a piece that nothing but a weak pull draws home."""
    setup = setup_of(real_file("monteverdi/madrigal.3.1"), options)
    pieced = minimise_along(setup.problem, setup.when, stretch=200, ahead=200)
    assert np.array_equal(pieced.x, minimise(setup.problem).x)

"""The solver against a general-purpose modelling library on the same convex problem."""

import warnings

import cvxpy
import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from retune.tuning.interior import Problem, minimise


def random_problem(seed: int, size: int, rows: int, limits: int) -> Problem:
    rng = np.random.default_rng(seed)
    first = rng.integers(0, size, rows)
    second = (first + rng.integers(1, size, rows)) % size
    room = rng.choice([0.5, 5.0, 30.0, np.inf], size)
    centre = np.where(np.isfinite(room), rng.uniform(-0.4, 0.4, size), 0.0)
    limit_first = rng.integers(0, size, limits)
    return Problem(
        size=size,
        first=first,
        second=second,
        target=rng.choice([0.0, 1.955, -13.686, 15.641, 21.506], rows),
        weight=rng.uniform(0.01, 4.0, rows),
        under=rng.choice([0.0, 1.0], rows) * rng.uniform(0.01, 4.0, rows),
        pull=rng.uniform(1e-5, 1e-1, size),
        pull_to=rng.choice([0.0, 5.0], size),
        lower=centre - room,
        upper=centre + room,
        limit_first=limit_first,
        limit_second=(limit_first + rng.integers(1, size, limits)) % size,
        limit=rng.choice([0.5, 2.5, 10.0], limits) + 1.0,
    )


def reference(problem: Problem) -> float:
    """Optimum of the same problem, by cvxpy with Clarabel; where that doubts its own answer there is none."""
    x = cvxpy.Variable(problem.size)
    r = x[problem.first] - x[problem.second] - problem.target
    cost = (
        problem.weight @ cvxpy.pos(r)
        + problem.under @ cvxpy.neg(r)
        + 0.5 * problem.pull @ cvxpy.square(x - problem.pull_to)
    )
    bounded = np.flatnonzero(np.isfinite(problem.lower))
    limits = (
        [x[bounded] >= problem.lower[bounded], x[bounded] <= problem.upper[bounded]] if len(bounded) else []
    )
    if len(problem.limit):
        limits.append(cvxpy.abs(x[problem.limit_first] - x[problem.limit_second]) <= problem.limit)
    model = cvxpy.Problem(cvxpy.Minimize(cost), limits)
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Solution may be inaccurate")
        best = float(model.solve(solver=cvxpy.CLARABEL))
    assume(model.status == cvxpy.OPTIMAL)
    return best


@settings(max_examples=25, deadline=None)
@example(seed=1318186, size=3, rows=1, limits=0)  # the outside solver calls its answer inaccurate here
@given(st.integers(0, 2**32 - 1), st.integers(2, 30), st.integers(1, 80), st.integers(0, 8))
def test_no_worse_than_an_independent_optimum_and_inside_every_limit(seed, size, rows, limits):
    problem = random_problem(seed, size, rows, limits)
    solution = minimise(problem)
    assert solution.settled
    x = solution.x
    assert np.all(x >= problem.lower - 1e-6)
    assert np.all(x <= problem.upper + 1e-6)
    if limits:
        apart = np.abs(x[problem.limit_first] - x[problem.limit_second])
        assert np.all(apart <= problem.limit + 1e-6)
    best = reference(problem)
    assert problem.objective(x) <= best * (1 + 1e-4) + 1e-4


def test_a_conflict_is_left_whole_in_the_weakest_row():
    """Three unknowns in a ring that cannot close: the comma goes to the row of least weight, the rest are exact."""
    problem = Problem(
        size=3,
        first=np.array([1, 2, 0]),
        second=np.array([0, 1, 2]),
        target=np.array([10.0, 10.0, 1.506]),
        weight=np.array([2.0, 3.0, 1.0]),
        under=np.array([2.0, 3.0, 1.0]),
        pull=np.full(3, 1e-6),
        pull_to=np.zeros(3),
        lower=np.full(3, -np.inf),
        upper=np.full(3, np.inf),
        limit_first=np.zeros(0, dtype=np.int64),
        limit_second=np.zeros(0, dtype=np.int64),
        limit=np.zeros(0),
    )
    solution = minimise(problem)
    assert solution.settled
    x = solution.x
    residual = x[problem.first] - x[problem.second] - problem.target
    assert residual[:2] == pytest.approx([0.0, 0.0], abs=1e-4)
    assert residual[2] == pytest.approx(-21.506, abs=1e-4)


def test_nothing_to_solve():
    empty = np.zeros(0)
    none = np.zeros(0, dtype=np.int64)
    problem = Problem(
        size=0, first=none, second=none, target=empty, weight=empty, under=empty, pull=empty, pull_to=empty,
        lower=empty, upper=empty, limit_first=none, limit_second=none, limit=empty,
    )  # fmt: skip
    assert minimise(problem).x.shape == (0,)

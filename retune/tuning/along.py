"""Long pieces, solved along time in stretches.

How a place is tuned hardly depends on what comes hundreds of bars later: homing and the drift limit see to it. So
each stretch is solved together with what lies just ahead of it, only the stretch itself is kept, and the next takes
what was decided as given. Cost and memory then grow with the piece exactly as they do with its number of stretches,
where one problem of the whole would need more steps the longer it is, each on more than the processor can keep at hand.

What is lost: with the numbers below, pieces of 20,000 to 100,000 notes came out as good as the whole problem's
solution to a relative 1e-9 (the method's own tolerance is 1e-8), no note more than 0.006 cents elsewhere.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from retune.tuning.interior import GROUND_PULL, Problem, Solution, minimise

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STRETCH = 12_000  # unknowns decided at a time
AHEAD = 1_500  # unknowns that are looked ahead; with 500 some notes came out 2 cents elsewhere


def minimise_along(problem: Problem, when: Ints, *, stretch: int = STRETCH, ahead: int = AHEAD) -> Solution:
    """The minimiser of a problem whose rows link what is near in time; `when` is (size,) in any unit.

    One problem if it is short; or if notes may move within a limit, which ties a note's pieces together however far
    they lie apart; or where drift is free: what then draws the piece home is so weak that it reaches from end to end.
    """
    if problem.size <= stretch + 2 * ahead or len(problem.limit) or _drifts_freely(problem):
        return minimise(problem)
    order = np.argsort(when, kind="stable")
    rank = np.empty(problem.size, dtype=np.int64)
    rank[order] = np.arange(problem.size)
    last = np.maximum(rank[problem.first], rank[problem.second])
    rows = np.argsort(last, kind="stable")  # by the stretch in which they can first be reckoned
    last = last[rows]
    x, settled = np.zeros(problem.size), True
    ends = np.linspace(0, problem.size, -(-problem.size // stretch) + 1).astype(np.int64)
    for start, end in pairwise(ends):
        seen = order[start : end + ahead]
        within = rows[slice(*np.searchsorted(last, (start, start + len(seen))))]
        solution = minimise(_excerpt(problem, rank - start, seen, within, x))
        x[order[start:end]] = solution.x[: end - start]
        settled &= solution.settled
    return Solution(x, settled=settled)


def _drifts_freely(problem: Problem) -> bool:
    """Whether a row links an unknown that no bounds hold."""
    free = ~np.isfinite(problem.upper - problem.lower) & (problem.pull < GROUND_PULL)
    return bool((free[problem.first] | free[problem.second]).any())


def _excerpt(problem: Problem, place: Ints, seen: Ints, rows: Ints, decided: Floats) -> Problem:
    """The problem of the unknowns `seen`, in their order, with the rows that end on them.

    `place` is (size,) the number of each unknown among those, negative where it was decided before; `decided` is
    (size,) what was, and 0 for all others. One more unknown stands for the decided ones.
    """
    first, second = problem.first[rows], problem.second[rows]
    ground, nothing = len(seen), np.zeros(0, dtype=np.int64)
    return Problem(
        size=len(seen) + 1,
        first=np.where(place[first] < 0, ground, place[first]),
        second=np.where(place[second] < 0, ground, place[second]),
        target=problem.target[rows] - decided[first] + decided[second],
        weight=problem.weight[rows],
        under=problem.under[rows],
        pull=np.append(problem.pull[seen], GROUND_PULL),
        pull_to=np.append(problem.pull_to[seen], 0.0),
        lower=np.append(problem.lower[seen], -np.inf),
        upper=np.append(problem.upper[seen], np.inf),
        limit_first=nothing,
        limit_second=nothing,
        limit=np.zeros(0),
    )

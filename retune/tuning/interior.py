"""A primal–dual interior-point method for the tuning problem.

The problem, over x in R^n:

    minimise   Σ_i w_i (x_a(i) − x_b(i) − t_i)⁺ + u_i (x_a(i) − x_b(i) − t_i)⁻  +  ½ Σ_v q_v (x_v − p_v)²
    subject to lower <= x <= upper,   |x_c(j) − x_d(j)| <= h_j

where r⁺ and r⁻ are what r lies above and below 0: with u = w the absolute value, with u = 0 a one-sided wish.

Absolute values keep a conflict whole in the few places where it cannot be avoided, where squares would
smear it over every chord. Every row links two unknowns, so each step solves one sparse symmetric system whose
pattern never changes: a graph Laplacian plus a diagonal, factored by a kept sparse LDL^T library and
refactored on the same ordering (cost linear in the notes of a piece of bounded polyphony).

Method: Mehrotra's predictor–corrector (S. Mehrotra, *SIAM J. Optim.* 2(4), 1992, 575–601), with absolute
values in the form of least-absolute-deviation regression (R. Koenker, S. Portnoy, *Stat. Sci.* 12(4), 1997):
each row's multiplier z is kept in −u < z < w and its residual split into r⁺ − r⁻. References from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retune.tuning.laplacian import Laplacian

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MAX_ITERATIONS = 60
RELATIVE_GAP = 1e-8  # duality gap over objective at which a solution counts as found
SMALLEST_GAP = 1e-10  # below this, rounding decides: nothing more is to be gained
DUAL_TOLERANCE = 1e-5  # of the largest weight: how nearly the forces on an unknown must cancel
SMALLEST = 1e-13  # residual halves and slacks stay above this, or the next system overflows
STEP_SHARE = 0.995  # of the longest step that keeps every slack positive (usual choice for such methods)


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Rows and bounds of the problem above; all arrays one-dimensional, cents and weights."""

    size: int
    first: Ints  # a(i)
    second: Ints  # b(i)
    target: Floats  # t_i [cents]
    weight: Floats  # w_i > 0
    under: Floats  # u_i >= 0
    pull: Floats  # q_v > 0, (size,)
    pull_to: Floats  # p_v [cents], (size,)
    lower: Floats  # [cents], (size,), may be -inf
    upper: Floats  # [cents], (size,), may be inf
    limit_first: Ints  # c(j)
    limit_second: Ints  # d(j)
    limit: Floats  # h_j > 0 [cents]

    def objective(self, x: Floats) -> float:
        """Value of what is minimised at x."""
        r = x[self.first] - x[self.second] - self.target
        soft = _dot(self.weight, np.maximum(r, 0.0)) + _dot(self.under, np.maximum(-r, 0.0))
        return soft + 0.5 * _dot(self.pull, (x - self.pull_to) ** 2)


@dataclass(slots=True)
class _State:
    """Unknowns of the method: x, halves and multipliers of soft rows, slacks and multipliers of hard ones."""

    x: Floats
    over: Floats  # r+ of soft rows
    under: Floats  # r-
    z: Floats
    slack_up: Floats
    slack_down: Floats
    y_up: Floats
    y_down: Floats


@dataclass(frozen=True, slots=True)
class _Hard:
    """Bounds and limits as rows x_first − x_second in [low, high]; second = -1 for a bound on x itself."""

    first: Ints
    second: Ints
    low: Floats
    high: Floats

    def apply(self, x: Floats) -> Floats:
        other = np.where(self.second >= 0, x[self.second], 0.0)
        result: Floats = x[self.first] - other
        return result

    def transpose(self, y: Floats, size: int) -> Floats:
        linked = self.second >= 0
        total = np.bincount(self.first, y, size).astype(np.float64)
        total -= np.bincount(self.second[linked], y[linked], size)
        return total


@dataclass(frozen=True, slots=True)
class Solution:
    """What the method found."""

    x: Floats  # (size,) the minimiser [cents], strictly inside every bound and limit
    settled: bool  # False: the steps ran out before the duality gap closed


def minimise(problem: Problem) -> Solution:
    """The minimiser of a problem whose bounds leave room (lower < upper), to a gap of `RELATIVE_GAP`."""
    if problem.size == 0:
        return Solution(np.zeros(0), settled=True)
    hard = _hard_rows(problem)
    matrix = Laplacian(
        problem.size,
        np.concatenate([problem.first, hard.first]),
        np.concatenate([problem.second, hard.second]),
    )
    state = _start(problem, hard)
    top = 1.0 + float(problem.weight.max(initial=0.0))
    for _ in range(MAX_ITERATIONS):
        gap = _gap(problem, state)
        dual = _dual_residual(problem, hard, state)
        scale = 1.0 + abs(problem.objective(state.x))
        settled = float(np.abs(dual).max()) <= DUAL_TOLERANCE * top
        if gap <= RELATIVE_GAP * scale and (settled or gap <= SMALLEST_GAP * scale):
            return Solution(state.x, settled=True)
        _step(problem, hard, matrix, state, dual)
    return Solution(state.x, settled=False)


def _hard_rows(problem: Problem) -> _Hard:
    bounded = np.flatnonzero(np.isfinite(problem.lower) & np.isfinite(problem.upper))
    return _Hard(
        np.concatenate([bounded, problem.limit_first]),
        np.concatenate([np.full(len(bounded), -1, dtype=np.int64), problem.limit_second]),
        np.concatenate([problem.lower[bounded], -problem.limit]),
        np.concatenate([problem.upper[bounded], problem.limit]),
    )


def _start(problem: Problem, hard: _Hard) -> _State:
    both = np.isfinite(problem.lower) & np.isfinite(problem.upper)
    middle = np.where(
        both, 0.5 * (np.where(both, problem.lower, 0.0) + np.where(both, problem.upper, 0.0)), 0.0
    )
    # Pieces of one note start together, so that a movement limit is met wherever the bounds lie.
    x = middle
    r = x[problem.first] - x[problem.second] - problem.target
    room = np.maximum(np.abs(r), 1.0)
    value = hard.apply(x)
    return _State(
        x=x,
        over=np.maximum(r, 0.0) + room,
        under=np.maximum(-r, 0.0) + room,
        z=0.5 * (problem.weight - problem.under),
        slack_up=np.maximum(hard.high - value, 1e-3),
        slack_down=np.maximum(value - hard.low, 1e-3),
        y_up=np.ones(len(value)),
        y_down=np.ones(len(value)),
    )


def _gap(problem: Problem, s: _State) -> float:
    soft = _dot(s.over, problem.weight - s.z) + _dot(s.under, problem.under + s.z)
    return soft + _dot(s.slack_up, s.y_up) + _dot(s.slack_down, s.y_down)


def _dual_residual(problem: Problem, hard: _Hard, s: _State) -> Floats:
    n = problem.size
    soft = np.bincount(problem.first, s.z, n) - np.bincount(problem.second, s.z, n)
    result: Floats = problem.pull * (s.x - problem.pull_to) + soft + hard.transpose(s.y_up - s.y_down, n)
    return result


def _step(problem: Problem, hard: _Hard, matrix: Laplacian, s: _State, dual: Floats) -> None:
    """One predictor–corrector step in place."""
    above, below = np.maximum(problem.weight - s.z, SMALLEST), np.maximum(problem.under + s.z, SMALLEST)
    soft_weight = 1.0 / (s.over / above + s.under / below)
    hard_weight = s.y_up / s.slack_up + s.y_down / s.slack_down
    matrix.factor(np.concatenate([soft_weight, hard_weight]), problem.pull)
    value = hard.apply(s.x)
    lag = (s.x[problem.first] - s.x[problem.second] - problem.target) - (s.over - s.under)
    lag_up, lag_down = hard.high - value - s.slack_up, value - hard.low - s.slack_down

    def direction(e_over: Floats, e_under: Floats, e_up: Floats, e_down: Floats) -> tuple[Floats, ...]:
        shift = e_over / above - e_under / below - lag
        pull_up = (e_up - s.y_up * lag_up) / s.slack_up
        pull_down = (e_down - s.y_down * lag_down) / s.slack_down
        soft = soft_weight * shift
        n = problem.size
        right = -dual + np.bincount(problem.first, soft, n) - np.bincount(problem.second, soft, n)
        right -= hard.transpose(pull_up - pull_down, n)
        dx = matrix.solve(right)
        dz = soft_weight * (dx[problem.first] - dx[problem.second] - shift)
        d_over = (e_over + s.over * dz) / above
        d_under = (e_under - s.under * dz) / below
        move = hard.apply(dx)
        d_up, d_down = lag_up - move, lag_down + move
        dy_up = (e_up - s.y_up * d_up) / s.slack_up
        dy_down = (e_down - s.y_down * d_down) / s.slack_down
        return dx, dz, d_over, d_under, d_up, d_down, dy_up, dy_down

    products = s.over * above, s.under * below, s.slack_up * s.y_up, s.slack_down * s.y_down
    count = 2 * (len(s.z) + len(s.y_up))
    mu = sum(float(p.sum()) for p in products) / max(count, 1)
    predictor = direction(*(-p for p in products))
    size = _longest(problem, s, predictor)
    mu_after = _mu_after(problem, s, predictor, size, count)
    aim = mu * min(1.0, (mu_after / mu) ** 3) if mu > 0 else 0.0
    _, dz, d_over, d_under, d_up, d_down, dy_up, dy_down = predictor
    corrector = direction(
        aim - products[0] + d_over * dz,
        aim - products[1] - d_under * dz,
        aim - products[2] - d_up * dy_up,
        aim - products[3] - d_down * dy_down,
    )
    _advance(s, corrector, min(1.0, STEP_SHARE * _longest(problem, s, corrector)))


def _longest(problem: Problem, s: _State, d: tuple[Floats, ...]) -> float:
    """Longest step (at most 1/STEP_SHARE) that keeps slacks and multipliers positive."""
    _, dz, d_over, d_under, d_up, d_down, dy_up, dy_down = d
    above, below = np.maximum(problem.weight - s.z, SMALLEST), np.maximum(problem.under + s.z, SMALLEST)
    pairs = (
        (s.over, d_over), (s.under, d_under), (above, -dz), (below, dz),
        (s.slack_up, d_up), (s.slack_down, d_down), (s.y_up, dy_up), (s.y_down, dy_down),
    )  # fmt: skip
    worst = STEP_SHARE
    for value, change in pairs:
        if len(value):
            worst = max(worst, float((-change / value).max()))
    return 1.0 / worst


def _mu_after(problem: Problem, s: _State, d: tuple[Floats, ...], size: float, count: int) -> float:
    _, dz, d_over, d_under, d_up, d_down, dy_up, dy_down = d
    k = min(1.0, size)
    soft = _dot(s.over + k * d_over, problem.weight - s.z - k * dz)
    soft += _dot(s.under + k * d_under, problem.under + s.z + k * dz)
    hard = _dot(s.slack_up + k * d_up, s.y_up + k * dy_up)
    hard += _dot(s.slack_down + k * d_down, s.y_down + k * dy_down)
    return (soft + hard) / max(count, 1)


def _dot(a: Floats, b: Floats) -> float:
    """Sum of products, not by BLAS: its threads cost more than they gain, and their number changes the rounding."""
    return float(np.einsum("i,i->", a, b))


def _advance(s: _State, d: tuple[Floats, ...], size: float) -> None:
    dx, dz, d_over, d_under, d_up, d_down, dy_up, dy_down = d
    s.x = s.x + size * dx
    s.z = s.z + size * dz
    s.over = np.maximum(s.over + size * d_over, SMALLEST)
    s.under = np.maximum(s.under + size * d_under, SMALLEST)
    s.slack_up = np.maximum(s.slack_up + size * d_up, SMALLEST)
    s.slack_down = np.maximum(s.slack_down + size * d_down, SMALLEST)
    s.y_up, s.y_down = s.y_up + size * dy_up, s.y_down + size * dy_down

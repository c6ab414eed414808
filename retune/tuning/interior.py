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

Both kinds of rows are then of one form: something stays between two ends, z of a soft row between −u and w, the
value of a hard row between its limits. What is left until an end is its room, the multiplier of that is its price,
and their product goes to 0. The difference of a row's two prices is the residual of a soft row and the force along
a hard one. So one formula serves both, and each array is walked once: half the time of the method was in walking.

What moves with x (rooms of hard rows, prices of soft ones) and what are forces (the others) take steps of their
own length, as in linear programming, which saves a tenth of the steps: the pulls to p_v are mostly so weak that the
next step makes up for what this leaves out of balance. Where they are not, all take the shorter one.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from retune.tuning.laplacian import Laplacian
from retune.tuning.sparse import without_scipy

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MAX_ITERATIONS = 60
RELATIVE_GAP = 1e-8  # duality gap over objective at which a solution counts as found
SMALLEST_GAP = 1e-10  # below this, rounding decides: nothing more is to be gained
DUAL_TOLERANCE = 1e-5  # of the largest weight: how nearly the forces on an unknown must cancel
SMALL_IMBALANCE = 1e-2  # of the largest weight: what a step may leave of it (tried out)
SMALLEST = 1e-13  # rooms and prices stay above this, or the next system overflows
LEAST_START = 1e-3  # room of a hard row to start with, at least
# Where to start is tried out, on choral music, songs and made-up crowds: a sixth fewer steps than from ones.
LEAST_RESIDUAL = 20.0  # price of a soft row to start with, at least [cents]
START_FORCE = 0.1  # price of a hard row to start with: few limits press
GROUND_PULL = 1e9  # as good as holds an unknown where it is: one that stands for everything given
STEP_SHARE = 0.995  # of the longest step that keeps every room and price positive (usual for such methods)


class Problem(NamedTuple):
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
        return self.cost(x, x[self.first] - x[self.second] - self.target)

    def cost(self, x: Floats, residual: Floats) -> float:
        """The same where the residual of each row at x is known."""
        over = np.maximum(residual, 0.0)
        soft = _dot(self.weight, over) + _dot(self.under, over - residual)
        return soft + 0.5 * _dot(self.pull, (x - self.pull_to) ** 2)


class Solution(NamedTuple):
    """What the method found."""

    x: Floats  # (size,) the minimiser [cents], strictly inside every bound and limit
    settled: bool  # False: the steps ran out before the duality gap closed


@without_scipy()
def minimise(problem: Problem) -> Solution:
    """The minimiser of a problem whose bounds leave room (lower < upper), to a gap of `RELATIVE_GAP`."""
    if problem.size == 0:
        return Solution(np.zeros(0), settled=True)
    search = _Search(problem)
    near = RELATIVE_GAP * (1.0 + problem.cost(search.x, search.residual()))
    for _ in range(MAX_ITERATIONS):
        gap, unbalanced = search.gap(), search.unbalanced()
        if gap <= near:  # of a start that costs more than the end, and not worth a closer look before
            scale = 1.0 + problem.cost(search.x, search.residual())
            settled = float(np.abs(unbalanced).max()) <= DUAL_TOLERANCE * search.top
            if gap <= RELATIVE_GAP * scale and (settled or gap <= SMALLEST_GAP * scale):
                return Solution(search.x, settled=True)
        search.step(gap, unbalanced)
    return Solution(search.x, settled=False)


class _Rows:
    """All rows x_first − x_second: soft ones, limits, and bounds, whose second is a 0 that follows x."""

    def __init__(self, problem: Problem) -> None:
        self.bounded = bounded = (np.isfinite(problem.lower) & np.isfinite(problem.upper)).nonzero()[0]
        nothing = np.full(len(bounded), problem.size, dtype=np.int64)
        self.size, self.soft = problem.size, len(problem.first)
        self.first = np.concatenate([problem.first, problem.limit_first, bounded])
        self.second = np.concatenate([problem.second, problem.limit_second, nothing])
        self.padded = np.zeros(problem.size + 1)  # x and the 0 behind it
        self.linked = len(self.first) - len(bounded)
        upper = np.concatenate([problem.limit, problem.upper[bounded]])
        lower = np.concatenate([-problem.limit, problem.lower[bounded]])
        self.ends = np.stack([upper, lower])  # of the hard rows

    def apply(self, x: Floats) -> Floats:
        """(n_rows,) value of each row."""
        self.padded[:-1] = x
        result: Floats = self.padded[self.first]
        result -= self.padded[self.second]
        return result

    def transpose(self, force: Floats) -> Floats:
        """(size,) what forces along the rows amount to on each unknown."""
        total: Floats = np.asarray(np.bincount(self.first, force, self.size), dtype=np.float64)
        total -= np.bincount(self.second, force, self.size + 1)[:-1]
        return total


class _Steps(NamedTuple):
    """Lengths of a step: of x and what moves with it, and of the forces."""

    places: float
    forces: float


class _Search:
    """Where the method stands: x, the rows' values, and `state`, the room and the price of each row's two ends.

    `state` is (2, 2, n_rows): rooms, then prices; at the upper end, then at the lower one. Arrays of that size are
    made once and written over: to fetch and give back memory takes as long as to reckon.
    """

    def __init__(self, problem: Problem) -> None:
        self.problem, self.rows = problem, _Rows(problem)
        self.top = 1.0 + float(problem.weight.max(initial=0.0))
        rows, soft = self.rows, self.rows.soft
        self.matrix = Laplacian(problem.size, rows.first, rows.second[: rows.linked])
        # Pieces of one note start together, so that a movement limit is met wherever the bounds lie.
        self.x = np.zeros(problem.size)
        self.x[rows.bounded] = 0.5 * (problem.lower[rows.bounded] + problem.upper[rows.bounded])
        self.value = rows.apply(self.x)
        self.state = np.empty((2, 2, len(self.value)))
        self.room, self.price = self.state
        self.room[:, :soft] = 0.5 * (problem.weight + problem.under)
        self.room[:, soft:] = np.maximum(self._left(), LEAST_START)
        size = np.abs(residual := self.residual())
        self.price[:, :soft] = np.maximum(size, LEAST_RESIDUAL) + 0.5 * np.stack(
            [size + residual, size - residual]
        )
        self.price[:, soft:] = START_FORCE
        self.change, self.scratch, self.ratio = (
            np.empty_like(a) for a in (self.state, self.state, self.room)
        )
        self.d_room, self.d_price = self.change
        self.moving = np.zeros(
            (2, 1, len(self.value)), dtype=bool
        )  # with x: rooms of hard rows, prices of soft
        self.moving[0, :, soft:] = self.moving[1, :, :soft] = True

    def _left(self) -> Floats:
        """(2, n_hard) what the values of hard rows leave to their ends; their rooms lag behind it at first."""
        left: Floats = self.rows.ends - self.value[self.rows.soft :]
        np.negative(left[1], out=left[1])
        return left

    def residual(self) -> Floats:
        """What each soft row is above its target [cents]."""
        return self.value[: self.rows.soft] - self.problem.target

    def gap(self) -> float:
        """Duality gap: all products of room and price."""
        return _dot(self.room, self.price)

    def unbalanced(self) -> Floats:
        """(size,) what the forces on each unknown lack to cancel."""
        force, soft = self.price[0] - self.price[1], self.rows.soft
        np.subtract(self.problem.weight, self.room[0, :soft], out=force[:soft])
        result: Floats = self.problem.pull * (self.x - self.problem.pull_to) + self.rows.transpose(force)
        return result

    def step(self, gap: float, unbalanced: Floats) -> None:
        """One predictor–corrector step."""
        wish = self.d_price
        self._factor()
        np.negative(self.price, out=wish)  # all products to 0
        self._turn(unbalanced)
        gap_after = _dot(*self._after(self._longest(1.0)))
        mu = gap / max(self.room.size, 1)
        aim = mu * min(1.0, (gap_after / gap) ** 3) if gap > 0 else 0.0
        wish *= self.d_room
        np.subtract(aim, wish, out=wish)  # all products to one size, less what the changes add
        wish /= self.room
        wish -= self.price
        dx = self._turn(unbalanced)
        steps = self._steps(dx, unbalanced)
        self.x = self.x + steps.places * dx
        self.value = self.rows.apply(self.x)
        np.maximum(self._after(steps), SMALLEST, out=self.state)

    def _factor(self) -> None:
        """Set up and factor the system that every direction of this step solves.

        Where a row's position, z or value, moves by q, the difference of its prices moves by its stiffness times
        q besides what is wished. Hard rows move with x, soft ones so that their residual does.
        """
        soft = self.rows.soft
        np.divide(self.price, self.room, out=self.ratio)
        self.gain = self.ratio[0] + self.ratio[1]
        np.reciprocal(self.gain[:soft], out=self.gain[:soft])
        self.matrix.factor(self.gain, self.problem.pull)
        self.lag = self._left() - self.room[:, soft:]
        late = self.ratio[:, soft:] * self.lag
        resting = self.price[0, :soft] - self.price[1, :soft] - self.residual()
        self.known = np.concatenate([resting, late[1] - late[0]])

    def _turn(self, unbalanced: Floats) -> Floats:
        """Set the changes of rooms and prices, given in `d_price` what is wished of prices; the change of x."""
        soft, d_room = self.rows.soft, self.d_room
        push = self.d_price[0] - self.d_price[1]
        push += self.known
        push[:soft] *= self.gain[:soft]
        np.negative(push[soft:], out=push[soft:])
        dx = self.matrix.solve(self.rows.transpose(push) - unbalanced)
        move = self.rows.apply(dx)
        move[:soft] *= self.gain[:soft]
        move[:soft] -= push[:soft]
        np.negative(move, out=d_room[0])
        d_room[1] = move
        d_room[:, soft:] += self.lag
        self.d_price -= np.multiply(self.ratio, d_room, out=self.scratch[0])
        return dx

    def _steps(self, dx: Floats, unbalanced: Floats) -> _Steps:
        """How far to go; a move of x that no force answers leaves its pulls out of balance."""
        steps = self._longest(STEP_SHARE)
        left = abs(steps.places - steps.forces) * float(np.abs(self.problem.pull * dx).max())
        if left > max(0.5 * float(np.abs(unbalanced).max()), SMALL_IMBALANCE * self.top):
            return _Steps(min(steps), min(steps))
        return steps

    def _longest(self, share: float) -> _Steps:
        """The longest steps, at most 1, that leave of every room and price at least what `share` lets."""
        soft = self.rows.soft
        room, price = np.divide(self.change, self.state, out=self.scratch)
        place = min(_least(room[:, soft:]), _least(price[:, :soft]))
        force = min(_least(room[:, :soft]), _least(price[:, soft:]))
        return _Steps(share / max(share, -place), share / max(share, -force))

    def _after(self, steps: _Steps) -> Floats:
        """(2, 2, n_rows) the rooms and prices after steps of these lengths."""
        np.multiply(self.change, np.where(self.moving, steps.places, steps.forces), out=self.scratch)
        self.scratch += self.state
        return self.scratch


def _dot(a: Floats, b: Floats) -> float:
    """Sum of products, not by BLAS: its threads cost more than they gain, and their number changes the rounding."""
    return float(np.add.reduce(a * b, axis=None))


def _least(a: Floats) -> float:
    """The least of the entries and 0."""
    return float(np.minimum.reduce(a, axis=None, initial=0.0))

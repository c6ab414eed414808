"""The tuning of the whole piece as one convex problem.

    minimise   Σ pairs    a · |x_p − x_q − t_pq|     intervals that sound are pure      (a: time sounding)
             + Σ pieces   f · |x_p − c_k − t_p|      broken chords and lone notes fit their window
             + Σ repeats  r(gap) · |x_q − x_p|       a repeated note keeps its pitch within its part
             + Σ steps    s · |x_q − x_p|            passing notes lie evenly between their neighbours
             + Σ strides  m · (step outside what is heard as a semitone or whole tone)
             + Σ leaps    l · |x_q − x_p − t_pq|     fourths, fifths, octaves of a line are pure
             + Σ held     h · |x_p+1 − x_p|          held notes stay still, where they may move at all
             + Σ windows  ½ g · c_k²                 the piece comes home
    subject to  |c_k| <= drift limit, roots likewise, movement within a note <= hold limit, fixed parts given

x_p is the offset of a note (or of a piece of it, where notes may move), c_k the displacement of window k.
Pairs carry purity rather than windows alone: where a comma must go somewhere, the whole piece decides which
single interval takes it, and notes foreign to the named chord are still in tune with what sounds beside them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from retune.arrays import begins, distinct, ends
from retune.errors import Remark
from retune.tuning.along import minimise_along
from retune.tuning.bounds import ROUNDING_MARGIN_CENTS, bounds, home_pulls, with_room
from retune.tuning.interior import GROUND_PULL, Problem, Solution
from retune.tuning.model import OFFSET_DTYPE, Tuning
from retune.tuning.partners import fixed_parts, given_offsets
from retune.tuning.presets import weights_for
from retune.tuning.rows import (
    Pairs,
    Rows,
    by_part,
    frame_rows,
    held_rows,
    leap_rows,
    melody,
    pair_rows,
    piece_deviations,
    repeat_rows,
    step_rows,
    stride_rows,
)
from retune.tuning.unknowns import Unknowns, begin_ticks, number_unknowns
from retune.tuning.weights import PARTNERS_IN_A_CROWD
from retune.units import reference_shift_cents

if TYPE_CHECKING:
    from collections.abc import Sequence

    from retune.harmony.model import Harmony
    from retune.options import Options
    from retune.ratios.model import Ratios
    from retune.score.model import Score

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

GRID_CENTS = 1e-4
"""Offsets are rounded to this, far below any receiver's step, so that notes meant to be equal are equal."""


class Setup(NamedTuple):
    """The problem of one piece, and what its unknowns stand for."""

    problem: Problem
    when: Ints  # (problem.size,) tick at which each unknown begins to count
    unknowns: Unknowns
    pairs: Pairs
    given: Floats  # (n_offsets,) what is given of the offset unknowns [cents], nan where free
    lower: Floats  # (n_unknowns,) exact bounds [cents]; the problem's own leave the solver a little room
    upper: Floats
    drift_limit: Floats  # (n_windows,) [cents]


def solve_tuning(
    score: Score,
    harmony: Harmony,
    ratios: Ratios,
    options: Options,
    *,
    limits: tuple[Floats, Floats] | None = None,
) -> Tuning:
    """The tuning of the whole piece.

    `limits` are (n_windows,) drift limits and hold limits [cents] where stretches differ; by default those of
    the options hold throughout. The limits are guarantees: roots never sit further than the drift limit from
    their equal-tempered pitch, no note moves more than its hold limit while it sounds.
    Offsets count from A4 = 440 Hz and hold the shift to the reference pitch; displacements count from it.
    Raises `OptionError` for a fixed part or home that does not exist.
    """
    setup = set_up(score, harmony, ratios, options, limits=limits)
    solution = minimise_along(setup.problem, setup.when)
    x = solution.x
    offsets = _piece_offsets(harmony, setup, x)
    return Tuning(
        offsets=offset_rows(score, harmony, offsets + reference_shift_cents(options.reference_hz)),
        displacement_cents=_displacement(score, harmony, setup, x, offsets),
        remarks=(
            *_strayed_partners(score, harmony, setup),
            *_crowded(score, setup.pairs),
            *_unsettled(solution),
        ),
    )


def set_up(
    score: Score,
    harmony: Harmony,
    ratios: Ratios,
    options: Options,
    *,
    limits: tuple[Floats, Floats] | None = None,
) -> Setup:
    """The problem of a piece: rows, bounds and pulls."""
    windows = len(harmony.windows)
    drift, hold = limits or (
        np.full(windows, options.drift_limit_cents),
        np.full(windows, options.hold_limit_cents),
    )
    weights = weights_for(options)
    unknowns = number_unknowns(score, harmony, hold)
    note = harmony.pieces["note"][unknowns.first]
    given = given_offsets(score, note, fixed_parts(options, score.parts))
    deviation = piece_deviations(score, harmony, ratios)
    order = by_part(score)
    pairs = pair_rows(score, harmony, ratios, unknowns, weights, options.prime_limit)
    line = melody(score, unknowns, order)
    rows = (
        pairs.rows,
        frame_rows(score, harmony, ratios, unknowns, weights, deviation),
        repeat_rows(score, harmony, unknowns, weights),
        step_rows(score, harmony, unknowns, weights, order),
        held_rows(harmony, unknowns, weights),
        *stride_rows(line, weights),
        leap_rows(line, weights, options.prime_limit),
    )
    lower, upper = bounds(harmony, unknowns, deviation, drift)
    pull = home_pulls(score, harmony, unknowns, weights, options.home, drift)
    problem = _problem(unknowns, note, rows, *with_room(lower, upper), pull, given)
    return Setup(
        problem=problem,
        when=np.append(begin_ticks(score, harmony, unknowns), 0),
        unknowns=unknowns,
        pairs=pairs,
        given=given,
        lower=lower,
        upper=upper,
        drift_limit=drift,
    )


def _problem(
    unknowns: Unknowns,
    note: Ints,
    groups: Sequence[Rows],
    lower: Floats,
    upper: Floats,
    pull: Floats,
    given: Floats,
) -> Problem:
    """Assembles the problem; one more unknown, held at 0, stands for everything that is given."""
    ground = unknowns.size
    lower, upper = np.append(lower, -np.inf), np.append(upper, np.inf)
    first, second, target, weight, under = (np.concatenate(column) for column in zip(*groups, strict=True))
    free = np.isnan(given)
    if not free.all():
        fixed = (~free).nonzero()[0]
        lower[fixed], upper[fixed] = -np.inf, np.inf
        value, place = np.zeros(ground + 1), np.arange(ground + 1)
        value[fixed], place[fixed] = given[fixed], ground
        target = target - value[first] + value[second]
        first, second = place[first], place[second]
    keep = ((first != second) & (weight > 0)).nonzero()[0]
    moves = np.zeros(len(unknowns.hold_limit), dtype=bool)
    moves[unknowns.limited] = True
    moving = (moves[note] & free).nonzero()[0]
    return Problem(
        size=ground + 1,
        first=first[keep],
        second=second[keep],
        target=target[keep],
        weight=weight[keep],
        under=under[keep],
        pull=np.append(pull, GROUND_PULL),
        pull_to=np.zeros(ground + 1),
        lower=lower,
        upper=upper,
        limit_first=moving,
        limit_second=unknowns.offsets + unknowns.windows + unknowns.limited.searchsorted(note[moving]),
        limit=0.5 * (unknowns.hold_limit[note[moving]] - 2.0 * ROUNDING_MARGIN_CENTS),
    )


def _piece_offsets(harmony: Harmony, setup: Setup, x: Floats) -> Floats:
    """(n_pieces,) offsets on the grid, every limit kept exactly."""
    unknowns, given = setup.unknowns, setup.given
    lower, upper = setup.lower[: len(given)], setup.upper[: len(given)]
    offsets = (np.rint(x[: len(given)] / GRID_CENTS) * GRID_CENTS).clip(lower, upper)
    if len(unknowns.limited):
        note = harmony.pieces["note"][unknowns.first]
        lowest, highest = (np.full(len(unknowns.hold_limit), end) for end in (np.inf, -np.inf))
        np.minimum.at(lowest, note, offsets)
        np.maximum.at(highest, note, offsets)
        middle = 0.5 * (lowest[note] + highest[note])
        reach = 0.5 * np.maximum(unknowns.hold_limit[note] - 2.0 * ROUNDING_MARGIN_CENTS, 0.0)
        # The bounds once more: they differ from the solver's by far less than the margin of the movement.
        offsets = offsets.clip(middle - reach, middle + reach).clip(lower, upper)
    return np.where(np.isnan(given), offsets, given)[unknowns.of_piece]


def offset_rows(score: Score, harmony: Harmony, offsets: Floats) -> NDArray[np.void]:
    """Rows of `OFFSET_DTYPE` from (n_pieces,) offsets [cents], equal neighbours within a note joined."""
    pieces = harmony.pieces
    note = pieces["note"]
    first = np.flatnonzero(begins(note, offsets))
    rows = np.zeros(len(first), dtype=OFFSET_DTYPE)
    last = np.append(first[1:], len(pieces)) - 1 if len(first) else first
    rows["note"] = note[first]
    rows["start_tick"] = pieces["start_tick"][first]
    rows["end_tick"] = pieces["end_tick"][last]
    final = ends(rows["note"])
    rows["end_tick"][final] = score.notes["sounding_end_tick"][rows["note"][final]]
    rows["offset_cents"] = offsets[first]
    return rows


def _displacement(score: Score, harmony: Harmony, setup: Setup, x: Floats, offsets: Floats) -> Floats:
    """(n_windows,) offset of the root where it sounds (its longest piece), else the window's own unknown."""
    unknowns, pieces = setup.unknowns, harmony.pieces
    displacement = x[unknowns.offsets : unknowns.offsets + unknowns.windows].copy()
    np.clip(displacement, -setup.drift_limit, setup.drift_limit, out=displacement)
    pitch_class = score.notes["key"][pieces["note"]] % 12
    at = (pitch_class == harmony.windows["root_pc"][pieces["window"]]).nonzero()[0]
    length = pieces["end_tick"][at] - pieces["start_tick"][at]
    at = at[length.argsort(kind="stable")]  # the longest is written last
    displacement[pieces["window"][at]] = offsets[at]
    return np.round(displacement / GRID_CENTS) * GRID_CENTS


def _unsettled(solution: Solution) -> tuple[Remark, ...]:
    """A remark if the solver ran out of steps: every limit holds, but the tuning may not be the best."""
    if solution.settled:
        return ()
    message = (
        "the tuning could not be worked out to the last digit; all limits hold, but it may not be the best"
    )
    return (Remark(code="unsettled", message=message),)


def _crowded(score: Score, pairs: Pairs) -> tuple[Remark, ...]:
    """A remark if so many notes sound at once that not all of them could be tuned to each other."""
    if not pairs.left_out:
        return ()
    message = (
        f"so many notes sound at once that each was tuned to the next {PARTNERS_IN_A_CROWD} only; "
        f"{pairs.left_out} of {pairs.heard + pairs.left_out} pairs of notes were left out"
    )
    return (Remark(code="crowded", message=message, where=score.where(pairs.left_out_from)),)


def _strayed_partners(score: Score, harmony: Harmony, setup: Setup) -> tuple[Remark, ...]:
    """A remark for each fixed part that lies outside the drift limit: the others cannot follow it there."""
    if np.isnan(setup.given).all():
        return ()
    given = np.nan_to_num(setup.given)[setup.unknowns.of_piece]
    outside = np.abs(given) > setup.drift_limit[harmony.pieces["window"]] + GRID_CENTS
    found = []
    for part in distinct(score.notes["part"][harmony.pieces["note"][outside]]):
        first = int(np.flatnonzero(outside & (score.notes["part"][harmony.pieces["note"]] == part))[0])
        found.append(
            Remark(
                code="fixed-part-beyond-limit",
                message=f"the fixed part {score.parts[part].name!r} lies {given[first]:+.1f} cents from "
                "equal temperament, further than the drift limit allows; the others stay inside it",
                where=score.where(int(harmony.pieces["start_tick"][first])),
            )
        )
    return tuple(found)

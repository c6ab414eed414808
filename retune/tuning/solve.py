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
from retune.tuning.unknowns import Unknowns, begin_ticks, limit_of_notes, number_unknowns
from retune.tuning.weights import PARTNERS_IN_A_CROWD
from retune.units import reference_shift_cents

if TYPE_CHECKING:
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
    given: Floats  # (n_pieces,) offset of fixed pieces [cents], nan where free
    lower: Floats  # (n_unknowns,) exact bounds [cents]; the problem's own leave the solver a little room
    upper: Floats
    drift_limit: Floats  # (n_windows,) [cents]
    hold_limit: Floats  # (n_windows,) [cents]


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
    offsets = _piece_offsets(score, harmony, setup, x)
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
    given = given_offsets(score, harmony, fixed_parts(options, score.parts))
    pairs, line = pair_rows(score, harmony, ratios, unknowns, weights, options.prime_limit), melody(score)
    rows = _joined(
        pairs.rows,
        frame_rows(score, harmony, ratios, unknowns, weights),
        repeat_rows(score, harmony, unknowns, weights),
        step_rows(score, harmony, unknowns, weights),
        held_rows(harmony, unknowns, weights),
        *stride_rows(line, unknowns, weights),
        leap_rows(line, unknowns, weights, options.prime_limit),
    )
    lower, upper = bounds(harmony, unknowns, piece_deviations(score, harmony, ratios), drift)
    pull = home_pulls(score, harmony, unknowns, weights, options.home, drift)
    note_limit = limit_of_notes(score, harmony, hold)
    problem = _problem(harmony, unknowns, rows, *with_room(lower, upper), pull, given, note_limit)
    return Setup(
        problem=problem,
        when=np.append(begin_ticks(score, harmony, unknowns), 0),
        unknowns=unknowns,
        pairs=pairs,
        given=given,
        lower=lower,
        upper=upper,
        drift_limit=drift,
        hold_limit=hold,
    )


class _AllRows(NamedTuple):
    """Rows of every kind; `under` is what counts below the target."""

    first: Ints
    second: Ints
    target: Floats
    weight: Floats
    under: Floats

    def where(self, keep: NDArray[np.bool_]) -> _AllRows:
        return _AllRows(
            self.first[keep], self.second[keep], self.target[keep], self.weight[keep], self.under[keep]
        )


def _joined(*groups: Rows) -> _AllRows:
    joined = _AllRows(
        np.concatenate([g.first for g in groups]),
        np.concatenate([g.second for g in groups]),
        np.concatenate([g.target for g in groups]),
        np.concatenate([g.weight for g in groups]),
        np.concatenate([np.zeros(len(g.first)) if g.one_sided else g.weight for g in groups]),
    )
    return joined.where((joined.first != joined.second) & (joined.weight > 0))


def _problem(
    harmony: Harmony,
    unknowns: Unknowns,
    rows: _AllRows,
    lower: Floats,
    upper: Floats,
    pull: Floats,
    given: Floats,
    note_limit: Floats,
) -> Problem:
    """Assembles the problem; one more unknown, held at 0, stands for everything that is given."""
    ground = unknowns.size
    value = np.full(ground + 1, np.nan)
    value[unknowns.of_piece] = given
    fixed = ~np.isnan(value)
    lower = np.append(np.where(fixed[:-1], -np.inf, lower), -np.inf)
    upper = np.append(np.where(fixed[:-1], np.inf, upper), np.inf)
    rows = _grounded(rows, value, fixed, ground)
    note = harmony.pieces["note"]
    limited = np.zeros(len(note_limit), dtype=bool)
    limited[unknowns.limited] = True
    moving = np.flatnonzero(limited[note] & ~fixed[unknowns.of_piece])
    centre = unknowns.offsets + unknowns.windows + np.searchsorted(unknowns.limited, note[moving])
    return Problem(
        size=ground + 1,
        first=rows.first,
        second=rows.second,
        target=rows.target,
        weight=rows.weight,
        under=rows.under,
        pull=np.append(pull, GROUND_PULL),
        pull_to=np.zeros(ground + 1),
        lower=lower,
        upper=upper,
        limit_first=unknowns.of_piece[moving],
        limit_second=centre,
        limit=0.5 * (note_limit[note[moving]] - 2.0 * ROUNDING_MARGIN_CENTS),
    )


def _grounded(rows: _AllRows, value: Floats, fixed: NDArray[np.bool_], ground: int) -> _AllRows:
    """Rows with given unknowns replaced by the ground and their offset moved into the target."""
    given = np.where(fixed, value, 0.0)
    target = rows.target - given[rows.first] + given[rows.second]
    first = np.where(fixed[rows.first], ground, rows.first)
    second = np.where(fixed[rows.second], ground, rows.second)
    return _AllRows(first, second, target, rows.weight, rows.under).where(first != second)


def _piece_offsets(score: Score, harmony: Harmony, setup: Setup, x: Floats) -> Floats:
    """(n_pieces,) offsets on the grid, every limit kept exactly."""
    note = harmony.pieces["note"]
    free = np.isnan(setup.given)
    lower, upper = setup.lower[setup.unknowns.of_piece], setup.upper[setup.unknowns.of_piece]
    on_grid = np.round(x[setup.unknowns.of_piece] / GRID_CENTS) * GRID_CENTS
    offsets = np.where(free, np.clip(on_grid, lower, upper), setup.given)
    limit = limit_of_notes(score, harmony, setup.hold_limit) - 2.0 * ROUNDING_MARGIN_CENTS
    lowest, highest = np.full(len(score.notes), np.inf), np.full(len(score.notes), -np.inf)
    np.minimum.at(lowest, note, offsets)
    np.maximum.at(highest, note, offsets)
    with np.errstate(invalid="ignore"):  # percussion has no pieces: inf - inf
        middle = 0.5 * (lowest + highest)
    reach = 0.5 * np.maximum(limit, 0.0)
    offsets = np.clip(offsets, (middle - reach)[note], (middle + reach)[note])
    # The bounds once more: they differ from the solver's by far less than the margin of the movement.
    return np.where(free, np.clip(offsets, lower, upper), setup.given)


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
    root = (
        score.notes["key"].astype(np.int64)[pieces["note"]] % 12
        == harmony.windows["root_pc"][pieces["window"]]
    )
    at = np.flatnonzero(root)
    length = pieces["end_tick"][at] - pieces["start_tick"][at]
    at = at[np.argsort(length, kind="stable")]  # the longest is written last
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
    given = np.nan_to_num(setup.given)
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

"""The guarantees of the tuning problem: how far roots and notes may stray, and where home is."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.harmony.keys import tonics_at
from retune.harmony.model import Harmony
from retune.note_names import pitch_class_of
from retune.score.model import Score
from retune.tuning.unknowns import Unknowns
from retune.tuning.weights import Weights

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LEAST_ROOM_CENTS = 1e-3
"""The solver needs a little room inside every bound; what it uses of it is taken back afterwards."""

FREE_DRIFT = 1e-4
"""Share of the homing weights that is left where no drift limit holds: too little to bend any interval."""

ROUNDING_MARGIN_CENTS = 0.0125
"""Kept free inside every limit for the rounding of the finest bends (half of 200/8192 cents), so that what is
written keeps the limits too; a movement has two ends and needs it twice."""


def bounds(
    harmony: Harmony, unknowns: Unknowns, deviation: Floats, drift_limit: Floats
) -> tuple[Floats, Floats]:
    """(size,) lower and upper bounds [cents] of all unknowns.

    `deviation` is (n_pieces,) from `piece_deviations`, `drift_limit` (n_windows,). A root stays within the
    limit of its equal-tempered pitch; any other note within the limit of the stretch between its
    equal-tempered pitch and its pure place above a root that has not moved. All of them contain 0, so the
    limits never exclude each other.
    """
    inside = np.maximum(drift_limit - ROUNDING_MARGIN_CENTS, 0.0)
    limit = inside[harmony.pieces["window"]]
    lowest = np.maximum.reduceat(np.minimum(deviation, 0.0) - limit, unknowns.first)
    highest = np.minimum.reduceat(np.maximum(deviation, 0.0) + limit, unknowns.first)
    anywhere = np.full(len(unknowns.limited), np.inf)
    return np.concatenate([lowest, -inside, -anywhere]), np.concatenate([highest, inside, anywhere])


def with_room(lower: Floats, upper: Floats) -> tuple[Floats, Floats]:
    """The bounds, widened where they leave less than the room the solver needs."""
    return np.minimum(lower, -LEAST_ROOM_CENTS), np.maximum(upper, LEAST_ROOM_CENTS)


def home_pulls(
    score: Score, harmony: Harmony, unknowns: Unknowns, weights: Weights, home: str, drift_limit: Floats
) -> Floats:
    """(size,) weight with which each unknown is drawn to 0: every window a little, home more.

    `home` is "mean", "tonic" or a note name. Where drift is free ((n_windows,) `drift_limit` infinite) the pull
    only says where the piece as a whole lies.
    """
    windows = harmony.windows
    pieces = harmony.pieces
    # Not the silence before and after the music.
    heard = pieces["start_tick"].min(initial=score.end_tick), pieces["end_tick"].max(initial=0)
    ticks = windows["end_tick"].clip(*heard) - windows["start_tick"].clip(*heard)
    quarters = ticks / score.clock.ticks_per_quarter
    is_home = np.zeros(len(windows), dtype=bool)
    if home == "tonic":
        is_home = windows["root_pc"] == _tonics(harmony)
    elif home != "mean":
        is_home = windows["root_pc"] == pitch_class_of(home)
    weight = np.where(is_home, weights.home, weights.homing)
    weight = np.where(np.isfinite(drift_limit), weight, weight * FREE_DRIFT)
    pull = np.full(unknowns.size, 1e-7)
    pull[unknowns.offsets : unknowns.offsets + unknowns.windows] += weight * np.maximum(quarters, 0.01)
    if home not in ("mean", "tonic"):
        key = score.notes["key"].astype(np.int64)[pieces["note"]]
        named = key % 12 == pitch_class_of(home)
        pull[unknowns.of_piece[named]] += weights.home
    return pull


def _tonics(harmony: Harmony) -> Ints:
    if not len(harmony.keys):
        return np.full(len(harmony.windows), -1, dtype=np.int64)
    tonic, _ = tonics_at(harmony.keys, harmony.windows["start_tick"])
    return tonic

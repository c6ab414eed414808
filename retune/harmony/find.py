"""The harmony stage in one screen: score -> steps -> candidates -> windows -> pieces with roles, keys."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from retune.errors import Remark
from retune.harmony.decode import best_path
from retune.harmony.hints import lay_over
from retune.harmony.keys import find_keys
from retune.harmony.model import WINDOW_DTYPE, Harmony, Hint
from retune.harmony.naming import name_windows
from retune.harmony.pieces import cut_pieces
from retune.harmony.steps import Steps, find_steps
from retune.harmony.templates import fit_of_steps
from retune.harmony.weights import WEIGHTS, Weights
from retune.score.model import IntArray, Score


def find_harmony(score: Score, *, hints: Sequence[Hint] = ()) -> Harmony:
    """Windows, roots, chord types, roles and keys of a score.

    Windows follow each other without gaps from the first pitched onset to the last sounding end; a score
    without pitched notes has none. Hints are laid over what the finder heard: inside a hint it is used as
    given, outside nothing changes.
    """
    steps = find_steps(score)
    path = decode(steps)
    windows = windows_of(steps, path)
    remarks: tuple[Remark, ...] = ()
    if len(hints):
        windows, remarks = lay_over(windows, hints, score)
    return Harmony(
        windows=windows,
        pieces=cut_pieces(score, windows, steps.grid),
        keys=find_keys(score, steps),
        remarks=remarks,
    )


def decode(steps: Steps, weights: Weights = WEIGHTS) -> IntArray:
    """(n_steps,) candidate heard in every step (see `templates`)."""
    change = np.array(weights.change)[steps.grid.strength(steps.bounds[:-1])]
    return best_path(fit_of_steps(steps, weights), change)


def windows_of(steps: Steps, path: IntArray) -> NDArray[np.void]:
    """WINDOW_DTYPE rows: one a run of steps with the same candidate."""
    if not len(path):
        return np.zeros(0, dtype=WINDOW_DTYPE)
    first = np.flatnonzero(np.concatenate([[True], path[1:] != path[:-1]]))
    windows = np.zeros(len(first), dtype=WINDOW_DTYPE)
    windows["start_tick"] = steps.bounds[first]
    windows["end_tick"] = np.append(steps.bounds[first[1:]], steps.bounds[-1])
    name_windows(windows, steps, first, path[first])
    return windows

"""The harmony stage in one screen: score -> steps -> junctures -> windows -> pieces with roles, keys."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from retune.arrays import begins
from retune.errors import Remark
from retune.harmony.evidence.rests import fill_bars
from retune.harmony.evidence.steps import Steps, find_steps
from retune.harmony.finder.augmented_sixths import find_augmented_sixths
from retune.harmony.finder.by_key import follow_key
from retune.harmony.finder.decode import best_stretches
from retune.harmony.finder.naming import audible_sets, merge_alike, name_windows
from retune.harmony.finder.segments import find_junctures
from retune.harmony.hints import lay_over
from retune.harmony.keys import find_keys, tonics_at
from retune.harmony.model import WINDOW_DTYPE, Harmony, Hint
from retune.harmony.pieces import cut_pieces
from retune.score.model import Score


def find_harmony(score: Score, *, hints: Sequence[Hint] = ()) -> Harmony:
    """Windows, roots, chord types, roles and keys of a score.

    Windows follow each other without gaps from the bar of the first pitched onset to the end of the bar in which
    the last note sounds; a score without pitched notes has none. Hints are laid over what the finder heard:
    inside a hint it is used as given, outside nothing changes. Raises `OptionError` for a hint whose
    chord is not in the vocabulary.
    """
    steps = find_steps(score)
    keys = find_keys(score, steps)
    windows = find_windows(steps, keys)
    remarks: tuple[Remark, ...] = ()
    if len(hints):
        windows, remarks = lay_over(windows, hints, score)
    fill_bars(windows, keys, score.meters)
    pieces = cut_pieces(score, windows, steps)
    return Harmony(windows=windows, pieces=pieces, keys=keys, remarks=remarks)


def find_windows(steps: Steps, keys: NDArray[np.void]) -> NDArray[np.void]:
    """WINDOW_DTYPE rows: one a run of stretches in which the same candidate is heard."""
    if not len(steps):
        return np.zeros(0, dtype=WINDOW_DTYPE)
    junctures = find_junctures(steps)
    starts, heard = best_stretches(junctures)
    turns = begins(heard)
    first = junctures.step[starts[turns]]
    windows = np.zeros(len(first), dtype=WINDOW_DTYPE)
    windows["start_tick"] = steps.bounds[first]
    windows["end_tick"] = np.append(steps.bounds[first[1:]], steps.bounds[-1])
    amount = np.add.reduceat(steps.amount, first, axis=0)
    name_windows(windows, steps, first, heard[turns], amount)
    tonic, minor = tonics_at(keys, windows["start_tick"])
    sets = audible_sets(amount)
    follow_key(windows, sets, tonic, minor)
    find_augmented_sixths(windows, sets, first, steps, tonic)
    return merge_alike(windows)

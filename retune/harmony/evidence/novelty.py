"""Where the harmony seems to change, before any chord is known."""

from __future__ import annotations

import numpy as np

from retune.arrays import begins, so_far
from retune.score.model import FloatArray, IntArray


def find_novelty(
    sounds: FloatArray, beats: FloatArray, bass: IntArray, bass_weight: FloatArray, crowd: FloatArray
) -> FloatArray:
    """(n,) how much the harmony seems to change at the start of each step.

    One less the cosine between the pitch classes of the beat before and the beat after, stressed where the bass
    moves and where many notes start together. `sounds` (n, 12) and `beats` (n,): what sounds in each step, and its
    length.
    """
    starts, here = so_far(beats)[:-1], so_far(sounds)[:-1]
    places = np.stack((starts - 1.0, starts + 1.0))
    at = np.maximum(starts.searchsorted(places, side="right") - 1, 0)
    part = np.minimum(np.maximum((places - starts[at]) / beats[at], 0.0), 1.0)
    before, after = (here[at] + part[:, :, None] * sounds[at] - here) * [[[-1.0]], [[1.0]]]
    size = np.sqrt((after * after).sum(axis=1)) * np.sqrt((before * before).sum(axis=1))
    likeness = (after * before).sum(axis=1) / np.maximum(size, 1e-9)
    moves = begins(bass) * bass_weight
    moves[0] = 1.0
    result: FloatArray = (1.0 - likeness) * (0.3 + moves) * (0.3 + np.minimum(crowd, 1.0))
    return result

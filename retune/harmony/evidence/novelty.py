"""Where the harmony seems to change, before any chord is known."""

from __future__ import annotations

import numpy as np

from retune.score.model import FloatArray, IntArray


def find_novelty(
    sounds: FloatArray, beats: FloatArray, bass: IntArray, bass_weight: FloatArray, crowd: FloatArray
) -> FloatArray:
    """(n,) how much the harmony seems to change at the start of each step.

    One less the cosine between the pitch classes of the beat before and the beat after, stressed where the bass
    moves and where many notes start together. `sounds` (n, 12) and `beats` (n,): what sounds in each step, and its
    length.
    """
    edges = np.concatenate([[0.0], np.cumsum(beats)])
    total = np.vstack([np.zeros(12), np.cumsum(sounds, axis=0)])

    def until(places: FloatArray) -> FloatArray:
        at = np.clip(np.searchsorted(edges, places, side="right") - 1, 0, len(beats) - 1)
        part = np.clip((places - edges[at]) / beats[at], 0.0, 1.0)
        result: FloatArray = total[at] + part[:, None] * sounds[at]
        return result

    here = total[:-1]
    after, before = until(edges[:-1] + 1.0) - here, here - until(edges[:-1] - 1.0)
    size = np.linalg.norm(after, axis=1) * np.linalg.norm(before, axis=1)
    likeness = (after * before).sum(axis=1) / np.maximum(size, 1e-9)
    moves = np.concatenate([[1.0], (np.diff(bass) != 0) * bass_weight[1:]])
    result: FloatArray = (1.0 - likeness) * (0.3 + moves) * (0.3 + np.minimum(crowd, 1.0))
    return result

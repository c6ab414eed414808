"""Candidates of the decoder, root × chord type, and how well the evidence of a step fits each of them."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from retune.harmony.steps import Steps
from retune.harmony.vocabulary import CHORD_TYPES, INDEX_OF_SYMBOL
from retune.harmony.weights import Weights
from retune.score.model import FloatArray, IntArray

PRIORS: dict[str, float] = {
    "maj": 0.0, "min": -0.03, "7": -0.1, "min7": -0.2, "dim": -0.25, "min7b5": -0.25, "dim7": -0.3,
    "maj7": -0.25, "aug": -0.5, "sus4": -0.45, "sus2": -0.5,
}  # fmt: skip
"""Chord types the decoder tries, and how much less likely than a major triad each is [fit per beat]."""

TYPES: IntArray = np.array([INDEX_OF_SYMBOL[symbol] for symbol in PRIORS])
"""(K,) index into CHORD_TYPES; candidate number = type position × 12 + root."""


@lru_cache(maxsize=8)
def tables(weights: Weights) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(12, S) fit of a pitch class, (12, S) fit of a bass, (S,) prior."""
    fit, bass = [], []
    for t in TYPES:
        tones = CHORD_TYPES[t].intervals
        f = np.full(12, weights.outside)
        b = np.full(12, weights.bass_outside)
        for i, s in enumerate(tones):
            f[s] = (weights.root, weights.third, weights.fifth, weights.seventh)[i]
            b[s] = (weights.bass_root, weights.bass_third, weights.bass_fifth, weights.bass_seventh)[i]
        fit.append([np.roll(f, r) for r in range(12)])
        bass.append([np.roll(b, r) for r in range(12)])
    prior = np.repeat(np.array(list(PRIORS.values())), 12)
    return np.array(fit).reshape(-1, 12).T.copy(), np.array(bass).reshape(-1, 12).T.copy(), prior


def fit_of_steps(steps: Steps, weights: Weights) -> FloatArray:
    """(n_steps, S) fit of every candidate in every step."""
    fit, bass, prior = tables(weights)
    result = steps.amount @ fit
    low = steps.bass >= 0
    support = (steps.beats * steps.bass_weight * low)[:, None] * bass[steps.bass % 12]
    sounding = steps.amount.sum(axis=1) > 0
    result += support + (steps.beats * sounding)[:, None] * prior
    return result

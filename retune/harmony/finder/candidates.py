"""Candidates of the finder, root × chord type, and the tables that say what speaks for each of them."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from retune.harmony.finder import fitted
from retune.harmony.vocabulary import CHORD_TYPES, INDEX_OF_SYMBOL
from retune.score.model import FloatArray, IntArray

TYPES: IntArray = np.array([INDEX_OF_SYMBOL[symbol] for symbol in fitted.TYPE_ORDER])
"""(K,) index into CHORD_TYPES; the candidate of type position k over root r has the number 12·k + r.

No sixth chords: the analyses this follows write them as the seventh chord they invert. Ninths and the like
are named afterwards from what sounds over the root (`naming`).
"""

CLASS_OF_TYPE: IntArray = np.concatenate([np.arange(size) for size in fitted.LAYERS])
"""(K,) class of each type. Types of one class are reached alike; they stand in layers (`fitted.TYPE_ORDER`)."""

LAYERS = tuple(12 * size for size in fitted.LAYERS)
"""Candidates in each layer: the first has one type of every class, the others one of each of the first classes."""

_FIRST = np.arange(LAYERS[0])[:, None]
OF_CLASS: IntArray = np.where(_FIRST < LAYERS, _FIRST + np.cumsum((0, *LAYERS[:-1])), _FIRST)
"""(n, layers) the candidates of each class and root; the first of them again where there are no more."""

BLOCKS = ("sound", "presence", "bass", "first bass", "surroundings", "length")
"""Kinds of evidence, in the order of the rows of `evidence_table`: five of twelve rows, one of three."""

BLOCK_ROWS = (*(slice(12 * b, 12 * b + 12) for b in range(5)), slice(60, 63))


def name_of(candidate: int) -> tuple[int, str]:
    """(root pitch class, chord symbol) of a candidate."""
    return candidate % 12, CHORD_TYPES[int(TYPES[candidate // 12])].symbol


@cache
def evidence_table() -> NDArray[np.float32]:
    """(63, 12·K) what each feature of a stretch (`segments`) speaks for each candidate, in points."""
    presence, surroundings = fitted.PRESENCE[CLASS_OF_TYPE], fitted.SURROUNDINGS[CLASS_OF_TYPE]
    by_interval = (fitted.SOUND, presence, fitted.BASS, _first_bass(), surroundings)
    k = len(TYPES)
    table = np.empty((63, k, 12), dtype=np.float32)
    for rows, block in zip(BLOCK_ROWS, by_interval, strict=False):
        for root in range(12):
            table[rows, :, root] = np.roll(block, root, axis=1).T
    table[BLOCK_ROWS[-1]] = fitted.LENGTH.T[:, :, None]
    return table.reshape(63, 12 * k)


def _first_bass() -> FloatArray:
    """(K, 12) `fitted.FIRST_BASS` by interval: what a chord tone is to its chord, any other tone by its interval."""
    table = np.tile(fitted.FIRST_BASS_OTHER, (len(TYPES), 1))
    for row, chord in zip(table, TYPES, strict=True):
        tones = list(CHORD_TYPES[int(chord)].intervals)
        row[tones] = fitted.FIRST_BASS[: len(tones)]
    return table


@cache
def motion_table() -> NDArray[np.float32]:
    """(12, n) points for moving from a root (row) to a class and root (column, 12·class + root)."""
    rise = (np.arange(12) - np.arange(12)[:, None]) % 12
    return np.hstack([row[rise] for row in fitted.MOTION]).astype(np.float32)

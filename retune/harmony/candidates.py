"""Candidates of the finder, root × chord type, and the tables that say what speaks for each of them."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from retune.harmony import fitted
from retune.harmony.vocabulary import CHORD_TYPES, INDEX_OF_SYMBOL
from retune.score.model import IntArray

TYPES: IntArray = np.array([INDEX_OF_SYMBOL[symbol] for symbol in fitted.TYPE_ORDER])
"""(K,) index into CHORD_TYPES; the candidate of type position k over root r has the number 12·k + r.

No sixth chords: the analyses this follows write them as the seventh chord they invert. Ninths and the like
are named afterwards from what sounds over the root (`naming`).
"""

_FIRST = np.cumsum(fitted.CLASS_SIZES) - np.array(fitted.CLASS_SIZES)

TYPES_OF_CLASS: IntArray = np.stack(
    [
        (12 * (_FIRST + np.minimum(nth, np.array(fitted.CLASS_SIZES) - 1))[:, None] + np.arange(12)).ravel()
        for nth in range(max(fitted.CLASS_SIZES))
    ]
)
"""(3, n) candidates of each class and root, 12·class + root; the last is repeated where a class has fewer.
Types of one class move alike between chords."""

BLOCKS = ("sound", "presence", "bass", "first bass", "surroundings", "length")
"""Kinds of evidence, in the order of the rows of `evidence_table`: five of twelve rows, one of three."""

BLOCK_ROWS = (*(slice(12 * b, 12 * b + 12) for b in range(5)), slice(60, 63))


def name_of(candidate: int) -> tuple[int, str]:
    """(root pitch class, chord symbol) of a candidate."""
    return candidate % 12, CHORD_TYPES[int(TYPES[candidate // 12])].symbol


@cache
def evidence_table() -> NDArray[np.float32]:
    """(63, 12·K) what each feature of a stretch (`segments`) speaks for each candidate, in points."""
    by_interval = (fitted.SOUND, fitted.PRESENCE, fitted.BASS, fitted.FIRST_BASS, fitted.SURROUNDINGS)
    k = len(TYPES)
    table = np.empty((63, k, 12), dtype=np.float32)
    for rows, block in zip(BLOCK_ROWS, by_interval, strict=False):
        for root in range(12):
            table[rows, :, root] = np.roll(block, root, axis=1).T
    table[BLOCK_ROWS[-1]] = fitted.LENGTH.T[:, :, None]
    return table.reshape(63, 12 * k)


@cache
def tables_of_classes() -> tuple[NDArray[np.float32], ...]:
    """Evidence tables (63, n) of the first, second and third candidate of each class and root."""
    return tuple(np.ascontiguousarray(evidence_table()[:, types]) for types in TYPES_OF_CLASS)


@cache
def motion_table() -> tuple[NDArray[np.float32], float]:
    """(n, n) points for moving from a class and root (row, 12·class + root) to another (column), and their range."""
    classes = len(fitted.CLASS_SIZES)
    motion = fitted.MOTION.reshape(classes, classes, 12)
    c, r = np.divmod(np.arange(12 * classes), 12)
    result = motion[c[:, None], c[None, :], (r[None, :] - r[:, None]) % 12].astype(np.float32)
    return result, float(np.ptp(result))

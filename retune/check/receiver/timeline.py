"""Values that change at events: what was in force on a lane (a channel, a key) at a place in the file.

A place is the rank of an event in playing order, so that two events of one tick keep their order. `Spans` says between
which places notes lie.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from retune.check.receiver.sounding import BoolArray, FloatArray, IntArray

_NONE, _NO_VALUES = np.zeros(0, dtype=np.int64), np.zeros(0)


class Spans(NamedTuple):
    """Where each note lies in the file."""

    lanes: IntArray
    keys: IntArray
    on: IntArray  # place of the note-on
    off: IntArray  # place of the note-off
    end: IntArray  # place where the sound ends
    end_ticks: IntArray
    percussion: BoolArray
    managers: IntArray  # lane of the manager in whose zone each note starts, -1 for none


class Timeline:
    """Collects (lane, place, value) changes, then answers for whole columns of notes at once.

    Changes must come in playing order, except those given through `extend`. The first question ends the collecting.
    """

    def __init__(self, default: float, places: int) -> None:
        self.default = default
        self.places = places
        self._keys: list[int] = []
        self._values: list[float] = []
        self._blocks: list[tuple[IntArray, FloatArray | IntArray]] = []

    def add(self, lane: int, place: int, value: float) -> None:
        """From `place` on, `lane` has `value`."""
        self._keys.append(lane * self.places + place)
        self._values.append(value)

    def extend(self, lanes: IntArray, places: IntArray, values: FloatArray | IntArray) -> None:
        """Many changes at once."""
        self._blocks.append((lanes * self.places + places, values))

    @cached_property
    def _sorted(self) -> tuple[IntArray, FloatArray]:
        blocks = self._blocks
        if self._keys:
            blocks.append((column(self._keys), np.array(self._values)))
        del self._keys, self._values, self._blocks  # whoever adds more is told
        if not blocks:
            return _NONE, _NO_VALUES
        keys = np.concatenate([block[0] for block in blocks])
        values = np.concatenate([block[1] for block in blocks], dtype=np.float64)
        order = keys.argsort(kind="stable")
        return keys[order], values[order]

    @property
    def keys(self) -> IntArray:
        """(n_changes,) lane · places + place, sorted."""
        return self._sorted[0]

    @property
    def values(self) -> FloatArray:
        """(n_changes,) what each change sets."""
        return self._sorted[1]

    @property
    def changes(self) -> bool:
        """Whether any change was collected."""
        return len(self.keys) > 0

    def at(self, lanes: IntArray, places: IntArray) -> FloatArray:
        """Values in force on `lanes` just after the events at `places`."""
        if not self.changes:
            return np.full(len(places), self.default)
        k, known = self._last(lanes * self.places, places)
        return np.where(known, self.values[k], self.default)

    def latest(self, lanes: IntArray, places: IntArray) -> IntArray:
        """Place of the last change of each lane at or before a place, -1 before the first."""
        if not self.changes:
            return np.full(len(lanes), -1)
        base = lanes * self.places
        k, known = self._last(base, places)
        return np.where(known, self.keys[k] - base, -1)

    def _last(self, base: IntArray, places: IntArray) -> tuple[IntArray, BoolArray]:
        """Index of the last change at or before each place, and whether it is one of the lane that begins at `base`."""
        k = self.keys.searchsorted(base + places, side="right") - 1
        return k, (k >= 0) & (self.keys[k] >= base)

    def between(self, lanes: IntArray, after: IntArray, before: IntArray) -> tuple[IntArray, IntArray]:
        """(row, place) of every change on `lanes[row]` strictly between the two places."""
        if not self.changes:
            return _NONE, _NONE
        base = lanes * self.places
        first = self.keys.searchsorted(base + after, side="right")
        last = self.keys.searchsorted(base + before, side="left")
        rows, index = expand(first, np.maximum(last - first, 0))
        return rows, self.keys[index] % self.places

    def next_below(self, lanes: IntArray, places: IntArray, bound: float) -> IntArray:
        """Place of the first later change to a value below `bound` on each lane; -1 if none comes."""
        low = self.keys[self.values < bound]
        if not len(low):
            return np.full(len(lanes), -1)
        base = lanes * self.places
        found = np.append(low, -1)[low.searchsorted(base + places, side="right")] - base
        return np.where((found >= 0) & (found < self.places), found, -1)


def in_order(found: Sequence[tuple[IntArray, IntArray]]) -> tuple[IntArray, IntArray]:
    """(row, place) of several lists as one, ordered by both; the first has the rows in order, each once."""
    first, *others = found
    others = [part for part in others if len(part[0])]
    if not others:
        return first
    rows, places = (np.concatenate(part) for part in zip(first, *others, strict=True))
    order = np.lexsort((places, rows))
    return rows[order], places[order]


def expand(first: IntArray, counts: IntArray) -> tuple[IntArray, IntArray]:
    """(row, index): for each row the run `first[row] … first[row] + counts[row] - 1`."""
    rows = np.arange(len(counts)).repeat(counts)
    starts = counts.cumsum() - counts
    index = np.arange(len(rows)) - (starts - first).repeat(counts)
    return rows, index


def column(values: ArrayLike) -> IntArray:
    """A column of whole numbers."""
    return np.asarray(values, dtype=np.int64)

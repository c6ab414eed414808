"""Values that change at events: what was in force on a lane (a channel, a key) at a place in the file.

A place is the rank of an event in playing order, so that two events of one tick keep their order. `Spans` says between
which places notes lie.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from retune.check.sounding import BoolArray, FloatArray, IntArray

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

    Changes must come in playing order, except those given through `extend`. `freeze` ends the collecting.
    """

    def __init__(self, default: float, places: int) -> None:
        self.default = default
        self.places = places
        self._lanes: list[int] = []
        self._at: list[int] = []
        self._values: list[float] = []
        self._blocks: list[tuple[IntArray, IntArray, FloatArray]] = []
        self.keys, self.values = _NONE, _NO_VALUES

    def add(self, lane: int, place: int, value: float) -> None:
        """From `place` on, `lane` has `value`."""
        self._lanes.append(lane)
        self._at.append(place)
        self._values.append(value)

    def extend(self, lanes: IntArray, places: IntArray, values: FloatArray) -> None:
        """Many changes at once."""
        self._blocks.append((lanes, places, values))

    def freeze(self) -> Timeline:
        """Sort what was collected; afterwards the timeline can be asked."""
        if self._lanes:
            self._blocks.append(
                (column(self._lanes), column(self._at), np.array(self._values, dtype=np.float64))
            )
        if self._blocks:
            lanes, at, values = (np.concatenate(part) for part in zip(*self._blocks, strict=True))
            keys = lanes * self.places + at
            order = np.argsort(keys, kind="stable")
            self.keys, self.values = keys[order], values[order]
        return self

    @property
    def changes(self) -> bool:
        """Whether any change was collected."""
        return len(self.keys) > 0

    def at(self, lanes: IntArray, places: IntArray) -> FloatArray:
        """Values in force on `lanes` just after the events at `places`."""
        result = np.full(len(places), self.default)
        if self.changes:
            k, known = self._last(lanes * self.places, places)
            result[known] = self.values[k[known]]
        return result

    def latest(self, lanes: IntArray, places: IntArray) -> IntArray:
        """Place of the last change of each lane at or before a place, -1 before the first."""
        result = np.full(len(lanes), -1)
        if self.changes:
            base = lanes * self.places
            k, known = self._last(base, places)
            result[known] = self.keys[k[known]] - base[known]
        return result

    def _last(self, base: IntArray, places: IntArray) -> tuple[IntArray, BoolArray]:
        """Index of the last change at or before each place, and whether it is one of the lane that begins at `base`."""
        k = np.searchsorted(self.keys, base + places, side="right") - 1
        return k, (k >= 0) & (self.keys[k] >= base)

    def between(self, lanes: IntArray, after: IntArray, before: IntArray) -> tuple[IntArray, IntArray]:
        """(row, place) of every change on `lanes[row]` strictly between the two places."""
        if not self.changes:
            return _NONE, _NONE
        base = lanes * self.places
        first = np.searchsorted(self.keys, base + after, side="right")
        last = np.searchsorted(self.keys, base + before, side="left")
        rows, index = expand(first, np.maximum(last - first, 0))
        return rows, self.keys[index] % self.places

    def next_below(self, lanes: IntArray, places: IntArray, bound: float) -> IntArray:
        """Place of the first later change to a value below `bound` on each lane; -1 if none comes."""
        low = self.keys[self.values < bound]
        result = np.full(len(lanes), -1)
        if len(low):
            base = lanes * self.places
            k = np.searchsorted(low, base + places, side="right")
            found = np.append(low, -1)[k] - base
            comes = (found >= 0) & (found < self.places)
            result[comes] = found[comes]
        return result


def expand(first: IntArray, counts: IntArray) -> tuple[IntArray, IntArray]:
    """(row, index): for each row the run `first[row] … first[row] + counts[row] - 1`."""
    rows = np.repeat(np.arange(len(counts)), counts)
    starts = np.cumsum(counts) - counts
    index = np.arange(len(rows)) - np.repeat(starts - first, counts)
    return rows, index


def column(values: ArrayLike) -> IntArray:
    """A column of whole numbers."""
    return np.asarray(values, dtype=np.int64)


def ends_of_ticks(ticks: IntArray, places: IntArray) -> IntArray:
    """Last place of the tick of each place: what makes a channel a drum kit counts for the notes of its tick."""
    result: IntArray = np.searchsorted(ticks, ticks[places], side="right") - 1
    return result

"""All pairs of notes that sound together in a consonant interval class, and how far each is from pure."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from retune.check.sounding import FloatArray, IntArray
from retune.check.timeline import expand
from retune.check.tuned import TunedNotes
from retune.ratios.consonances import USUAL_PRIME_LIMIT, pure_deviations
from retune.score.model import Meters

MOST_PAIRS = 2_000_000
"""Where more pairs sound together, evenly chosen ones stand for all (chosen to stay below half a gigabyte)."""


class Pairs(NamedTuple):
    """One row a pair of pitch rows that overlap in a consonant interval class."""

    earlier: IntArray  # row of TunedNotes
    later: IntArray
    start: IntArray  # ticks
    length: IntArray  # ticks both sound
    deviation: FloatArray  # cents from pure, 0 or more
    form: IntArray  # which of the forms of `retune.ratios.consonances` is nearest

    @property
    def weight(self) -> int:
        """Length of all pairs together [ticks]."""
        return int(self.length.sum())

    def mean(self) -> float | None:
        """Duration-weighted mean deviation [cents]; None without pairs."""
        weight = self.weight
        return float(self.deviation @ self.length) / weight if weight else None

    def share_within(self, cents: float) -> float | None:
        """Share of the sounding time of all pairs that is no further than `cents` from pure."""
        weight = self.weight
        return float(self.length[self.deviation <= cents].sum()) / weight if weight else None

    def percentile(self, share: float) -> float | None:
        """Deviation that `share` of the sounding time does not exceed [cents]."""
        if not len(self.deviation):
            return None
        order = np.argsort(self.deviation)
        reached = np.cumsum(self.length[order]) / self.weight
        place = min(int(np.searchsorted(reached, share)), len(order) - 1)
        return float(self.deviation[order[place]])


def consonant_pairs(notes: TunedNotes, prime_limit: int = USUAL_PRIME_LIMIT) -> Pairs:
    """All overlapping pairs in a consonant interval class, and how far each is from the nearest form pure at the limit.

    Ordered by start, a row overlaps exactly the later rows that start before it ends, so pairs are found by
    counting; the cost is that of the pairs there are, also under a long pedal point.
    """
    order = np.argsort(notes.start, kind="stable")
    start, end = notes.start[order], notes.end[order]
    key, cents = notes.key[notes.note[order]], notes.cents[order]
    counts = np.searchsorted(start, end, side="left") - np.arange(len(order)) - 1
    first, second = expand(np.arange(1, len(order) + 1), _thinned(counts))
    rising = key[second] >= key[first]
    interval = np.abs(key[second] - key[first]) % 12
    kept = ~np.isnan(pure_deviations(prime_limit)[0, interval])
    first, second, rising, interval = first[kept], second[kept], rising[kept], interval[kept]
    size = np.where(rising, cents[second] - cents[first], cents[first] - cents[second])
    deviation, form = distance_from_pure(size, interval, prime_limit)
    return Pairs(
        earlier=order[first],
        later=order[second],
        start=start[second],
        length=np.minimum(end[first], end[second]) - start[second],
        deviation=deviation,
        form=form,
    )


def distance_from_pure(size: FloatArray, interval: IntArray, prime_limit: int) -> tuple[FloatArray, IntArray]:
    """(n,) distances of intervals from the nearest form that is pure at the limit [cents], and which form that is.

    `size` is what each is wider than in equal temperament [cents], `interval` its class in semitones; the distance of
    a dissonance is nan.
    """
    pure = pure_deviations(prime_limit)
    deviation = np.abs(size - pure[0, interval])
    form = np.zeros(len(size), dtype=np.int64)
    for number in range(1, len(pure)):
        other = np.abs(size - pure[number, interval])
        form[nearer := other < deviation] = number
        deviation[nearer] = other[nearer]
    return deviation, form


def _thinned(counts: IntArray) -> IntArray:
    """The counts, or, where they come to more than can be held, those of evenly spaced rows only."""
    total = int(counts.sum())
    if total <= MOST_PAIRS:
        return counts
    kept = np.zeros_like(counts)
    step = -(-total // MOST_PAIRS)
    kept[::step] = counts[::step]
    return kept


def per_bar(pairs: Pairs, meters: Meters) -> tuple[IntArray, FloatArray]:
    """(bars, mean deviation in cents) of every bar in which a consonant pair sounds."""
    if not len(pairs.start):
        return np.zeros(0, dtype=np.int64), np.zeros(0)
    ends = pairs.start + pairs.length
    last_bar = int(meters.bar_beat(int(ends.max()))[0])
    bar_starts = np.array([meters.tick_of(bar) for bar in range(1, last_bar + 2)])
    first = np.searchsorted(bar_starts, pairs.start, side="right") - 1
    last = np.searchsorted(bar_starts, ends, side="left") - 1
    rows, bars = expand(first, last - first + 1)
    inside = np.minimum(ends[rows], np.append(bar_starts, ends.max())[bars + 1])
    length = inside - np.maximum(pairs.start[rows], bar_starts[bars])
    weight = np.bincount(bars, length, minlength=last_bar + 1)
    total = np.bincount(bars, length * pairs.deviation[rows], minlength=last_bar + 1)
    sounding = np.flatnonzero(weight > 0)
    return sounding + 1, total[sounding] / weight[sounding]

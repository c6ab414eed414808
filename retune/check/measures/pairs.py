"""All pairs of notes that sound together in a consonant interval class, and how far each is from pure."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from retune.arrays import distinct, so_far
from retune.check.measures.tuned import TunedNotes
from retune.check.receiver.sounding import BoolArray, FloatArray, IntArray
from retune.check.receiver.timeline import expand
from retune.ratios.consonances import USUAL_PRIME_LIMIT, pure_deviations
from retune.score.model import Meters

MOST_PAIRS = 2_000_000
"""Where more pairs sound together, evenly chosen ones stand for all (chosen to stay below half a gigabyte)."""


_FEW_BARS, _MOST_BARS = 8, 1_000_000  # given at least of each run of equal bars; and in all, about


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
    """(bars, mean deviation in cents) of every bar in which a consonant pair sounds.

    Of very many bars in which the same pairs sound throughout, only the first are given: a note may be held for
    millions. Rounded, so that bars that sound alike are equal.
    """
    if not len(pairs.start):
        return np.zeros(0, dtype=np.int64), np.zeros(0)
    ends = pairs.start + pairs.length
    ticks = distinct(np.concatenate((distinct(pairs.start), distinct(ends))))
    changing = distinct(meters.bar_beat(ticks)[0])
    _, bars = expand(changing, _run_lengths(changing))
    begin, stop = meters.bar_ticks(bars), meters.bar_ticks(bars + 1)
    at = [np.searchsorted(ticks, column) for column in (pairs.start, ends)]
    weight = _between(ticks, at, pairs.length > 0, begin, stop)
    total = _between(ticks, at, pairs.deviation, begin, stop)
    sounding = weight > 0.5  # ticks
    return bars[sounding], np.round(total[sounding] / weight[sounding], 9)


def _run_lengths(changing: IntArray) -> IntArray:
    """How many bars to give from each on in which something changes."""
    longest = max(_FEW_BARS, _MOST_BARS // len(changing))
    return np.minimum(np.diff(changing, append=changing[-1] + 1), longest)


def _between(
    ticks: IntArray, at: list[IntArray], values: FloatArray | BoolArray, begin: IntArray, stop: IntArray
) -> FloatArray:
    """(n_bars,) sum over all pairs of value times ticks within `begin` and `stop`.

    `at` says at which of the `ticks` each pair starts and ends.
    """
    started, ended = (np.bincount(place, values, minlength=len(ticks)) for place in at)
    rate = np.cumsum(started - ended)[:-1]
    reached = so_far(rate * np.diff(ticks))
    result: FloatArray = np.interp(stop, ticks, reached) - np.interp(begin, ticks, reached)
    return result

"""All pairs of notes that sound together in a consonant interval class, and how far each is from pure."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from retune.check.sounding import FloatArray, IntArray
from retune.check.timeline import expand
from retune.check.tuned import TunedNotes
from retune.score.model import Meters
from retune.units import ratio_to_cents

CONSONANCES = {0: (1, 1), 3: (6, 5), 4: (5, 4), 5: (4, 3), 7: (3, 2), 8: (8, 5), 9: (5, 3)}
"""Pure ratio of each consonant interval class in semitones: the consonances of the senario (Zarlino 1558)."""

PURE_DEVIATION = np.full(12, np.nan)
"""(12,) cents each consonance lies from its equal-tempered size; nan for the dissonant classes."""
for _semitones, _ratio in CONSONANCES.items():
    PURE_DEVIATION[_semitones] = ratio_to_cents(*_ratio) - 100.0 * _semitones

MOST_PAIRS = 2_000_000
"""Where more pairs sound together, evenly chosen ones stand for all (chosen to stay below half a gigabyte)."""


class Pairs(NamedTuple):
    """One row a pair of pitch rows that overlap in a consonant interval class."""

    earlier: IntArray  # row of TunedNotes
    later: IntArray
    start: IntArray  # ticks
    length: IntArray  # ticks both sound
    deviation: FloatArray  # cents from pure, 0 or more

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


def consonant_pairs(notes: TunedNotes) -> Pairs:
    """All overlapping pairs in a consonant interval class.

    Ordered by start, a row overlaps exactly the later rows that start before it ends, so pairs are found by
    counting; the cost is that of the pairs there are, also under a long pedal point.
    """
    order = np.argsort(notes.start, kind="stable")
    start, end = notes.start[order], notes.end[order]
    key, cents = notes.key[notes.note[order]], notes.cents[order]
    counts = np.searchsorted(start, end, side="left") - np.arange(len(order)) - 1
    first, second = expand(np.arange(1, len(order) + 1), _thinned(counts))
    rising = key[second] >= key[first]
    pure = PURE_DEVIATION[np.abs(key[second] - key[first]) % 12]
    kept = ~np.isnan(pure)
    first, second, rising, pure = first[kept], second[kept], rising[kept], pure[kept]
    size = np.where(rising, cents[second] - cents[first], cents[first] - cents[second])
    return Pairs(
        earlier=order[first],
        later=order[second],
        start=start[second],
        length=np.minimum(end[first], end[second]) - start[second],
        deviation=np.abs(size - pure),
    )


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

"""Where the beats lie: metrical strength from the notated metre or, where they disagree, from the notes.

Files made from performances often carry a tempo map whose beat has the right length but not the right place,
and bars that begin nowhere in particular. The harmony itself then tells where the bars begin: it changes
there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from retune.score.model import FloatArray, IntArray, Meters

PHASE_CELLS = 48  # resolution of the search for the phase: a 48th of a beat
PHASE_DOUBT = (
    0.6  # the notated place stands unless it explains less than this share of what the best one does
)
PHASE_BLUR = np.array([1, 2, 3, 2, 1]) / 3  # what lies a cell or two away counts, less
NEAR_BEATS = 0.09  # an onset this close to a place of the grid stands on it (performed timing)
DOWNBEAT, HALF_BAR, BEAT, HALF_BEAT = 1.0, 0.6, 0.35, 0.12
"""How much of the change of harmony is expected on each metrical level (experiment)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """The metrical grid of a score. A cycle is a bar, or four beats where the bars are shorter than three."""

    change_ticks: IntArray  # (n_meters,)
    cycle_beats: FloatArray  # (n_meters,) beats of a cycle
    beat_length: FloatArray  # (n_meters,) ticks
    phase: float = 0.0  # beats by which the cycle lies behind the notated one, 0 <= phase < cycle_beats

    def place(self, ticks: IntArray) -> tuple[FloatArray, FloatArray]:
        """(beats since a downbeat of the metre in force, beats of its cycle) of each tick."""
        k = self._meter(ticks)
        beats = (ticks - self.change_ticks[k]) / self.beat_length[k] - self.phase
        return beats, self.cycle_beats[k]

    def beat_ticks(self, ticks: IntArray) -> FloatArray:
        """Ticks of a beat at each tick."""
        result: FloatArray = self.beat_length[self._meter(ticks)]
        return result

    def _meter(self, ticks: IntArray) -> IntArray:
        return np.maximum(self.change_ticks.searchsorted(ticks, side="right") - 1, 0)

    def strength(self, ticks: IntArray) -> IntArray:
        """0 downbeat, 1 half-bar, 2 beat, 3 half of a beat, 4 quarter of one, 5 elsewhere."""
        beats, cycle = self.place(ticks)
        half = np.where(cycle % 2 == 0, cycle / 2, cycle)
        result = np.full(len(ticks), 5)
        for level, unit in ((4, 0.25), (3, 0.5), (2, 1.0), (1, half), (0, cycle)):
            result[np.abs((beats + unit / 2) % unit - unit / 2) < NEAR_BEATS] = level
        return result


def notated_grid(meters: Meters) -> Grid:
    """Grid of the notated metre; compound metres beat in threes (common practice, no source)."""
    unit = meters.ticks_per_quarter * 4.0 / meters.denominator
    compound = (meters.numerator % 3 == 0) & (meters.numerator > 3) & (meters.denominator >= 8)
    group = np.where(compound, 3, 1)
    beats = meters.numerator / group
    cycle = np.where(beats < 3, 4.0, beats)
    return Grid(change_ticks=meters.change_ticks, cycle_beats=cycle, beat_length=unit * group)


@cache
def _expected(length: int) -> FloatArray:
    """(2n, 2n) change expected on each half-beat of a cycle of n beats (column) that is so many (row) late."""
    expected = np.array([BEAT, HALF_BEAT] * length)
    if length % 2 == 0:
        expected[length] = HALF_BAR
    expected[0] = DOWNBEAT
    late = np.arange(2 * length)
    result: FloatArray = expected[(late - late[:, None]) % (2 * length)]
    return result


def shifted_grid(grid: Grid, starts: IntArray, novelty: FloatArray) -> Grid:
    """The grid, moved where the changes of harmony (`novelty` of the step at each start) plainly say so."""
    beats, cycle = grid.place(starts)
    length = int(np.bincount(np.rint(cycle).astype(np.int64)).argmax())
    cells = length * PHASE_CELLS
    usual = np.rint(cycle) == length
    cell = np.rint(beats[usual] * PHASE_CELLS).astype(np.int64) % cells
    crowd = np.bincount(cell, weights=novelty[usual], minlength=cells)
    near = np.convolve(np.concatenate([crowd[-2:], crowd, crowd[:2]]), PHASE_BLUR, mode="valid")
    fit = (_expected(length) @ near.reshape(2 * length, -1)).ravel()
    best = int(fit.argmax())
    if fit[0] >= PHASE_DOUBT * fit[best]:
        return grid
    return replace(grid, phase=best / PHASE_CELLS)

"""Where the beats lie: metrical strength from the notated metre or, where they disagree, from the notes.

Files made from performances often carry a tempo map whose beat has the right length but not the right place.
The notes then tell the phase of the beat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retune.score.model import FloatArray, IntArray, Meters, Score

PHASE_CELLS = 48  # resolution of the search for the phase of the beat: a 48th of a beat
PHASE_DOUBT = (
    0.6  # the notated phase stands unless it explains less than this share of what the best one does
)
NEAR_BEATS = 0.09  # an onset this close to a place of the grid stands on it (performed timing)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """The metrical grid of a score."""

    change_ticks: IntArray  # (n_meters,)
    bar_beats: FloatArray  # (n_meters,) beats of a bar
    beat_length: FloatArray  # (n_meters,) ticks
    phase: float  # beats by which the sounding beat lies behind the notated one, 0 <= phase < 1

    @classmethod
    def trivial(cls) -> Grid:
        """The grid of a score without notes."""
        return cls(
            change_ticks=np.zeros(1, np.int64), bar_beats=np.ones(1), beat_length=np.ones(1), phase=0.0
        )

    def _place(self, ticks: IntArray) -> tuple[IntArray, FloatArray]:
        k = np.clip(np.searchsorted(self.change_ticks, ticks, side="right") - 1, 0, None)
        return k, (ticks - self.change_ticks[k]) / self.beat_length[k] - self.phase

    def beat_ticks(self, ticks: IntArray) -> FloatArray:
        """Ticks of a beat at each tick."""
        return self.beat_length[self._place(ticks)[0]]

    def beat_index(self, ticks: IntArray) -> IntArray:
        """A running number of the beat each tick lies in."""
        k, beats = self._place(ticks)
        lengths = np.append(np.diff(self.change_ticks) / self.beat_length[:-1], 0.0)
        before = np.concatenate([[0.0], np.cumsum(np.ceil(lengths))[:-1]]) if len(lengths) else np.zeros(1)
        return np.floor(before[k] + beats + NEAR_BEATS).astype(np.int64)

    def cycle(self, ticks: IntArray) -> tuple[FloatArray, FloatArray]:
        """Beats since the start of the metrical cycle, its length: a bar, or four beats if bars are short."""
        k, beats = self._place(ticks)
        bar = self.bar_beats[k]
        length = np.where(bar <= 2, 4.0, bar)
        return np.mod(beats, length), length

    def strength(self, ticks: IntArray) -> IntArray:
        """0 downbeat, 1 half-bar, 2 beat, 3 half of a beat, 4 quarter of one, 5 elsewhere."""
        k, beats = self._place(ticks)
        bar = self.bar_beats[k]

        def on(unit: float | FloatArray) -> NDArray[np.bool_]:
            off = np.mod(beats + unit / 2, unit) - unit / 2
            return np.abs(off) < NEAR_BEATS

        half = np.where(np.mod(bar, 2) == 0, bar / 2, bar)
        levels = [on(bar), on(half), on(1.0), on(0.5), on(0.25)]
        return np.select(levels, [0, 1, 2, 3, 4], default=5).astype(np.int64)


def find_grid(score: Score, onset: IntArray, notes: NDArray[np.void]) -> Grid:
    """Grid of the notated metre, shifted where the onsets plainly keep another phase."""
    meters = score.meters
    beat, bar_beats = _notated(meters)
    grid = Grid(change_ticks=meters.change_ticks, bar_beats=bar_beats, beat_length=beat, phase=0.0)
    _, beats = grid._place(onset)
    crowd = np.bincount(
        np.floor(np.mod(beats, 1.0) * PHASE_CELLS + 0.5).astype(np.int64) % PHASE_CELLS, minlength=PHASE_CELLS
    )
    near = crowd + 0.5 * (np.roll(crowd, 1) + np.roll(crowd, -1))
    quarter = PHASE_CELLS // 4
    fit = near + 0.6 * np.roll(near, 2 * quarter) + 0.3 * (np.roll(near, quarter) + np.roll(near, -quarter))
    best = int(fit.argmax())
    if fit[0] >= PHASE_DOUBT * fit[best]:
        return grid
    return Grid(
        change_ticks=grid.change_ticks, bar_beats=bar_beats, beat_length=beat, phase=best / PHASE_CELLS
    )


def _notated(meters: Meters) -> tuple[FloatArray, FloatArray]:
    """(ticks of a beat, beats of a bar); compound metres beat in threes (common practice, no source)."""
    unit = meters.ticks_per_quarter * 4.0 / meters.denominator
    compound = (meters.numerator % 3 == 0) & (meters.numerator > 3) & (meters.denominator >= 8)
    group = np.where(compound, 3, 1)
    return unit * group, meters.numerator / group

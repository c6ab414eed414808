"""Time cut into steps, and what sounds in each: the evidence the finder works from.

A step runs from one gathered onset to the next. Onsets up to `GATHER_SECONDS` apart count as one (rolled and
strummed chords, performed timing). Releases make no step of their own: they show in the durations.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retune.harmony.metre import Grid, find_grid
from retune.harmony.motion import Motion, find_motion
from retune.harmony.weights import WEIGHTS, Weights
from retune.score.model import Clock, FloatArray, IntArray, Score

GATHER_SECONDS = (
    0.060  # experiment: onsets of rolled chords and of the performed pop songs lie closer than this
)
MAX_STEPS_OF_A_NOTE = 256  # a note held longer is an organ point that no longer tells the harmony


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """Evidence per step; n steps, bounded by n + 1 ticks."""

    bounds: IntArray  # (n + 1,) ticks, ascending
    beats: FloatArray  # (n,) length in beats
    amount: FloatArray  # (n, 12) weighted duration of each pitch class [beats], voices saturating
    bass: IntArray  # (n,) key of the lowest note that carries the step, -1: silence
    bass_weight: FloatArray  # (n,) how far that note can be taken for a bass, 0-1
    attack: FloatArray  # (n,) how many notes start here, and the lowest of them
    grid: Grid

    def __len__(self) -> int:
        return len(self.beats)


def find_steps(score: Score, weights: Weights = WEIGHTS) -> Steps:
    """Cut the pitched notes of a score into steps."""
    notes = score.notes[score.pitched]
    if not len(notes):
        return _empty()
    onset = notes["onset_tick"].astype(np.int64)
    starts = gather_onsets(onset, score.clock)
    end = np.maximum(notes["sounding_end_tick"], notes["release_tick"]).astype(np.int64)
    bounds = np.append(starts, max(int(end.max()), int(starts[-1]) + 1))
    first = np.searchsorted(starts, onset, side="right") - 1
    grid = find_grid(score, onset, notes)
    key = notes["key"].astype(np.int64)
    beats = np.diff(bounds) / grid.beat_ticks(starts)
    motion = find_motion(notes, first, score)
    note, step, overlap = _overlaps(bounds, first, notes, weights)
    share = overlap / np.diff(bounds)[step]
    return Steps(
        bounds=bounds,
        beats=beats,
        amount=_amounts(key, note, step, first, share, beats, motion, grid, starts, weights),
        bass=(bass := _lowest(key, note, step, share, len(beats))),
        bass_weight=_bass_weight(bass, grid.beat_index(starts), weights),
        attack=np.bincount(first, minlength=len(beats)).astype(np.float64),
        grid=grid,
    )


def gather_onsets(onset: IntArray, clock: Clock) -> IntArray:
    """(n,) ascending ticks at which a step starts, from ascending note onsets."""
    ticks = np.unique(onset)
    seconds = clock.seconds(ticks)
    if len(ticks) < 2 or np.diff(seconds).min() > GATHER_SECONDS:
        return ticks
    at = seconds.tolist()
    keep, i = [], 0
    while i < len(at):
        keep.append(i)
        i = bisect_right(at, at[i] + GATHER_SECONDS, i)
    result: IntArray = ticks[np.array(keep)]
    return result


def _overlaps(
    bounds: IntArray, first: IntArray, notes: NDArray[np.void], weights: Weights
) -> tuple[IntArray, IntArray, FloatArray]:
    """(note, step, weighted overlap in ticks) for every step a note sounds in."""
    release = np.maximum(notes["release_tick"], notes["onset_tick"] + 1)
    end = np.maximum(notes["sounding_end_tick"], release)
    last = np.searchsorted(bounds, end, side="left") - 1
    count = np.clip(last - first + 1, 1, MAX_STEPS_OF_A_NOTE)
    note = np.repeat(np.arange(len(notes)), count)
    step = np.arange(len(note)) - np.repeat(np.cumsum(count) - count, count) + first[note]
    low, high = bounds[step], bounds[step + 1]
    held = np.clip(np.minimum(release[note], high) - low, 0, None)
    ringing = np.clip(np.minimum(end[note], high) - low, 0, None)
    return note, step, held + weights.pedal * (ringing - held)


def _amounts(
    key: IntArray,
    note: IntArray,
    step: IntArray,
    first: IntArray,
    share: FloatArray,
    beats: FloatArray,
    motion: Motion,
    grid: Grid,
    starts: IntArray,
    weights: Weights,
) -> FloatArray:
    """(n_steps, 12) evidence for each pitch class; doublings saturate, a step counts by its length."""
    starts_here = step == first[note]
    weight = np.where(starts_here, 1.0, weights.held)
    flow = motion.ornament(grid.strength(starts)[first], weights)
    weight = weight * flow[note]
    cell = np.bincount(step * 12 + key[note] % 12, weights=share * weight, minlength=12 * len(beats))
    voices = cell.reshape(-1, 12)
    result: FloatArray = beats[:, None] ** weights.length_power * np.minimum(
        voices, voices**weights.voices_power
    )
    return result


def _lowest(key: IntArray, note: IntArray, step: IntArray, share: FloatArray, n: int) -> IntArray:
    lowest = np.full(n, 999, dtype=np.int64)
    carries = share > 0.2
    np.minimum.at(lowest, step[carries], key[note[carries]])
    missing = lowest == 999
    if missing.any():
        rest = missing[step] & (share > 0)
        np.minimum.at(lowest, step[rest], key[note[rest]])
    lowest[lowest == 999] = -1
    return lowest


def _bass_weight(bass: IntArray, beat: IntArray, weights: Weights) -> FloatArray:
    """1 where the lowest note is about as low as the lowest of its neighbourhood, less the higher it lies."""
    known = bass >= 0
    if not known.any():
        return np.zeros(len(bass))
    index = np.unique(beat, return_inverse=True)[1]
    low = np.full(int(index.max()) + 3, 999, dtype=np.int64)
    np.minimum.at(low, index[known] + 1, bass[known])
    around = np.minimum(np.minimum(low[:-2], low[1:-1]), low[2:])[index]
    result: FloatArray = np.where(
        known, np.exp(-np.clip(bass - around, 0, None) / weights.bass_register), 0.0
    )
    return result


def _empty() -> Steps:
    none = np.zeros(0)
    return Steps(
        bounds=np.zeros(1, dtype=np.int64),
        beats=none,
        amount=np.zeros((0, 12)),
        bass=np.zeros(0, dtype=np.int64),
        bass_weight=none,
        attack=none,
        grid=Grid.trivial(),
    )

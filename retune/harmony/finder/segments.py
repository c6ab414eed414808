"""Stretches of time a chord may fill, and the features by which each is judged.

A chord may change at a juncture: a step on a half-beat or stronger, or one where a new bass comes in with
company. A stretch runs from one juncture to a later one, up to `REACH_BEATS` and `REACH_JUNCTURES`; longer
harmonies are several stretches of one chord.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retune.harmony.evidence.steps import Steps
from retune.harmony.finder import fitted
from retune.harmony.finder.habit import habit
from retune.score.model import FloatArray, IntArray

REACH_BEATS = 8.0
REACH_JUNCTURES = 24
AROUND_BEATS = 12.0  # how far the surroundings of a stretch reach, either way
FULL_VOICE = 1.2  # a pitch class cannot speak louder than this


@dataclass(frozen=True, slots=True, kw_only=True)
class Junctures:
    """Places where a chord may change; m of them, and the end."""

    step: IntArray  # (m,) index of the step that starts here
    ticks: IntArray  # (m + 1,)
    beats: FloatArray  # (m + 1,) beats since the first juncture
    cost: FloatArray  # (m,) points a change of chord costs here
    reach: IntArray  # (m,) how many stretches end at juncture j + 1: those that start at j, j − 1, …
    sound: FloatArray  # (m + 1, 12) amounts of each pitch class so far
    bass: FloatArray  # (m + 1, 12) beats each pitch class lay lowest so far
    first_bass: FloatArray  # (m, 12) the lowest pitch class at the juncture
    around: FloatArray  # (m + 1, 12) loudness of each pitch class in the surroundings, times beats, so far

    def __len__(self) -> int:
        return len(self.step)

    def pairs(self, low: int, high: int) -> tuple[IntArray, IntArray]:
        """(start, end) junctures of the stretches that end at low + 1 … high, by end, then start."""
        count = self.reach[low:high]
        end = np.repeat(np.arange(low + 1, high + 1), count)
        nth = np.arange(len(end)) - np.repeat(np.cumsum(count) - count, count)
        return end - np.repeat(count, count) + nth, end

    def features(self, start: IntArray, end: IntArray) -> NDArray[np.float32]:
        """(n, 63) features of the stretches from `start` to `end` (see `candidates.BLOCKS`)."""
        beats = np.maximum(self.beats[end] - self.beats[start], 1e-6).astype(np.float32)[:, None]
        root_beats = np.sqrt(beats)
        sound = np.maximum(self.sound[end] - self.sound[start], 0.0).astype(np.float32)
        result = np.empty((len(start), 63), dtype=np.float32)
        np.minimum(sound, FULL_VOICE * beats, out=result[:, :12])
        np.sqrt(np.minimum(sound, beats), out=result[:, 12:24])
        result[:, 24:36] = self.bass[end] - self.bass[start]
        result[:, 36:48] = root_beats * self.first_bass[start]
        result[:, 48:60] = self.around[end] - self.around[start]
        result[:, 60], result[:, 61], result[:, 62] = beats[:, 0], root_beats[:, 0], 1.0
        return result


def find_junctures(steps: Steps) -> Junctures:
    """Junctures of a score that has at least one step."""
    low = np.where(steps.bass >= 0, steps.bass % 12, 0)
    turns = np.concatenate([[True], (np.diff(steps.bass) != 0) & (steps.bass_weight[1:] > 0.5)])
    keep = (steps.strength <= 3) | (turns & (steps.attack >= 2))
    keep[0] = True
    step = np.flatnonzero(keep)
    beats = _so_far(np.add.reduceat(steps.beats, step))
    weight = np.where(steps.bass >= 0, steps.bass_weight, 0.0)
    bass = np.zeros((len(steps), 12))
    bass[np.arange(len(steps)), low] = weight * steps.beats
    first_bass = np.zeros((len(step), 12))
    first_bass[np.arange(len(step)), low[step]] = weight[step]
    sound = _so_far(np.add.reduceat(steps.amount, step, axis=0))
    cost = fitted.PLACE[steps.strength[step]] + fitted.BASS_TURNS * turns[step]
    cost += fitted.CROWD * steps.crowd[step]
    cost -= habit(steps.novelty, steps.strength, np.cumsum(steps.beats) - steps.beats)[step]
    return Junctures(
        step=step,
        ticks=np.append(steps.bounds[step], steps.bounds[-1]),
        beats=beats,
        cost=cost,
        reach=_reach(beats),
        sound=sound,
        bass=_so_far(np.add.reduceat(bass, step, axis=0)),
        first_bass=first_bass,
        around=_so_far(_surroundings(sound, beats) * np.diff(beats)[:, None]),
    )


def _so_far(values: FloatArray) -> FloatArray:
    """Running total that starts with nothing."""
    return np.concatenate([np.zeros_like(values[:1]), np.cumsum(values, axis=0)])


def _reach(beats: FloatArray) -> IntArray:
    ends = np.arange(1, len(beats))
    first = np.searchsorted(beats, beats[1:] - REACH_BEATS - 1e-9, side="left")
    return ends - np.clip(first, np.maximum(ends - REACH_JUNCTURES, 0), ends - 1)


def _surroundings(sound: FloatArray, beats: FloatArray) -> FloatArray:
    """(m, 12) square root of the loudness of each pitch class around each juncture's step, loudest = 1."""
    middle = (beats[1:] + beats[:-1]) / 2
    heard = _at(sound, beats, middle + AROUND_BEATS) - _at(sound, beats, middle - AROUND_BEATS)
    heard = np.clip(heard, 0.0, None)
    result: FloatArray = np.sqrt(heard / np.maximum(heard.max(axis=1, keepdims=True), 1e-9))
    return result


def _at(total: FloatArray, beats: FloatArray, places: FloatArray) -> FloatArray:
    """The running totals at any place between junctures, each step taken as even."""
    k = np.clip(np.searchsorted(beats, places, side="right") - 1, 0, len(beats) - 2)
    part = np.clip((places - beats[k]) / np.maximum(beats[k + 1] - beats[k], 1e-9), 0.0, 1.0)
    result: FloatArray = total[k] + part[:, None] * (total[k + 1] - total[k])
    return result

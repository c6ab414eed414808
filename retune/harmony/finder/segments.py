"""Stretches of time a chord may fill, and the features by which each is judged.

A chord may change at a juncture: a step on a half-beat or stronger, or one where a new bass comes in with
company. A stretch runs from one juncture to a later one, up to `REACH_BEATS` and `REACH_JUNCTURES`; longer
harmonies are several stretches of one chord.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retune.arrays import begins, so_far
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
    """Places where a chord may change; m of them, and the end. A pitch class is a row: long loops are quick."""

    step: IntArray  # (m,) index of the step that starts here
    ticks: IntArray  # (m + 1,)
    beats: FloatArray  # (m + 1,) beats since the first juncture
    cost: FloatArray  # (m,) points a change of chord costs here
    reach: IntArray  # (m,) how many stretches end at juncture j + 1: those that start at j, j − 1, …
    sound: FloatArray  # (12, m + 1) amounts of each pitch class so far
    bass: FloatArray  # (12, m + 1) beats each pitch class lay lowest so far
    first_bass: FloatArray  # (12, m) the lowest pitch class at the juncture
    around: FloatArray  # (12, m + 1) loudness of each pitch class in the surroundings, times beats, so far

    def __len__(self) -> int:
        return len(self.step)

    def pairs(self, low: int, high: int) -> tuple[IntArray, IntArray]:
        """(start, end) junctures of the stretches that end at low + 1 … high, by end, then start."""
        count = self.reach[low:high]
        ends = np.arange(low + 1, high + 1)
        first = (ends - count.cumsum()).repeat(count)  # start of the longest, less the pairs before it
        return first + np.arange(len(first)), ends.repeat(count)

    def features(self, start: IntArray, end: IntArray) -> NDArray[np.float32]:
        """(n, 63) features of the stretches from `start` to `end` (see `candidates.BLOCKS`)."""
        beats = np.maximum(self.beats[end] - self.beats[start], 1e-6).astype(np.float32)
        root_beats = np.sqrt(beats)
        sound = np.maximum(_between(self.sound, start, end), 0.0).astype(np.float32)
        result = np.empty((63, len(start)), dtype=np.float32)
        np.minimum(sound, FULL_VOICE * beats, out=result[:12])
        np.sqrt(np.minimum(sound, beats), out=result[12:24])
        result[24:36] = _between(self.bass, start, end)
        result[36:48] = root_beats * self.first_bass.take(start, axis=1)
        result[48:60] = _between(self.around, start, end)
        result[60], result[61], result[62] = beats, root_beats, 1.0
        return result.T


def find_junctures(steps: Steps) -> Junctures:
    """Junctures of a score that has at least one step."""
    turns = begins(steps.bass) & (steps.bass_weight > 0.5)
    turns[0] = True
    keep = (steps.strength <= 3) | (turns & (steps.attack >= 2))
    keep[0] = True
    step = np.flatnonzero(keep)
    beats = so_far(np.add.reduceat(steps.beats, step))
    first_bass = np.zeros((12, len(step)))
    first_bass[steps.bass[step] % 12, np.arange(len(step))] = steps.bass_weight[step]
    sound = so_far(np.add.reduceat(steps.amount, step, axis=0))
    cost = fitted.PLACE[steps.strength[step]] + fitted.BASS_TURNS * turns[step]
    cost += fitted.CROWD * steps.crowd[step]
    cost -= habit(steps.novelty, steps.strength, steps.at)[step]
    return Junctures(
        step=step,
        ticks=np.append(steps.bounds[step], steps.bounds[-1]),
        beats=beats,
        cost=cost,
        reach=_reach(beats),
        sound=sound.T.copy(),
        bass=so_far(steps.bass_beats(step)).T.copy(),
        first_bass=first_bass,
        around=so_far(_surroundings(sound, beats) * (beats[1:] - beats[:-1])[:, None]).T.copy(),
    )


def _between(total: FloatArray, start: IntArray, end: IntArray) -> FloatArray:
    """(12, n) what running totals (12, m + 1) gain from each start to its end."""
    result: FloatArray = total.take(end, axis=1) - total.take(start, axis=1)
    return result


def _reach(beats: FloatArray) -> IntArray:
    ends = np.arange(1, len(beats))
    first = beats.searchsorted(beats[1:] - REACH_BEATS - 1e-9)
    result: IntArray = np.minimum(np.maximum(ends - first, 1), REACH_JUNCTURES)
    return result


def _surroundings(sound: FloatArray, beats: FloatArray) -> FloatArray:
    """(m, 12) square root of the loudness of each pitch class around each juncture's step, loudest = 1."""
    middle = (beats[1:] + beats[:-1]) / 2
    heard = _at(sound, beats, middle + AROUND_BEATS) - _at(sound, beats, middle - AROUND_BEATS)
    result: FloatArray = np.sqrt(np.maximum(heard, 0.0) / np.maximum(heard.max(axis=1, keepdims=True), 1e-9))
    return result


def _at(total: FloatArray, beats: FloatArray, places: FloatArray) -> FloatArray:
    """The running totals at any place between junctures, each step taken as even."""
    k = np.maximum(beats[:-1].searchsorted(places, side="right") - 1, 0)
    part = (places - beats[k]) / np.maximum(beats[k + 1] - beats[k], 1e-9)
    part = np.minimum(np.maximum(part, 0.0), 1.0)
    result: FloatArray = total[k] + part[:, None] * (total[k + 1] - total[k])
    return result

"""How each note is reached and left within its part: by step, by leap, by repetition."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retune.harmony.evidence.weights import Weights
from retune.score.model import FloatArray, IntArray

NONE = 99  # no neighbour on that side
FAR = 1 << 48  # place of no chord


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Where each note of a part comes from and goes to: the note before and after it, and the way in semitones."""

    before: IntArray  # (n,) the note it is reached from, -1: none
    after: IntArray  # (n,) the note it goes on to, -1: none
    into: IntArray  # (n,) semitones from the note before, else NONE
    out: IntArray  # (n,) semitones to the note after, else NONE
    again: NDArray[
        np.bool_
    ]  # (n,) the note before is the same, struck less than a beat after it was released
    next_step: IntArray  # (n,) step in which the part goes on from it, -1: it does not

    @property
    def near(self) -> NDArray[np.bool_]:
        """(n,) True where a note is reached by step or repetition."""
        result: NDArray[np.bool_] = np.abs(self.into) <= 2
        return result

    def ornament(self, strength: IntArray, weights: Weights) -> FloatArray:
        """(n,) how far each note speaks for the harmony, from how it moves and where it stands."""
        by_step = is_step(self.into) & is_step(self.out)
        passing = by_step & (self.into * self.out > 0)
        neighbour = by_step & (self.into == -self.out)
        result = np.ones(len(self.into))
        result[passing] = np.array(weights.passing)[strength[passing]]
        result[neighbour] = np.array(weights.neighbour)[strength[neighbour]]
        return result


def is_step(semitones: IntArray) -> NDArray[np.bool_]:
    """(n,) True for a second up or down, False for NONE."""
    size = np.abs(semitones)
    result: NDArray[np.bool_] = (size == 1) | (size == 2)
    return result


def find_motion(
    notes: NDArray[np.void], first: IntArray, over: IntArray, steps: int, beat_ticks: FloatArray
) -> Motion:
    """Motion of every note; `first` is the step each starts in, `over` the first one after it, of so many `steps`.

    `beat_ticks` (n,) is the length of a beat where each note starts.

    Notes of a part in one step are one chord. A note goes on to the first chord its part strikes when it is over, so
    that one voice is followed while others move, in one part or in several. Its neighbour is the note of that chord
    nearest in pitch, and before it the nearest of those that go on to it.
    """
    key, part_starts = notes["key"].astype(np.int64), notes["part"] * np.int64(steps)
    chord = part_starts + first  # its place: parts one after another, each by steps
    places = np.append(np.sort(chord), FAR)
    following = places[places.searchsorted(part_starts + over)]
    goes = (over < steps) & (following < part_starts + steps)
    following = np.where(goes, following, FAR)
    before, after = _nearest(following, chord, key), _nearest(chord, following, key)
    rest = notes["onset_tick"].astype(np.int64) - notes["release_tick"][before]
    return Motion(
        before=before,
        after=after,
        into=np.where(before >= 0, key - key[before], NONE),
        out=np.where(after >= 0, key[after] - key, NONE),
        again=(before >= 0) & (key[before] == key) & (rest < beat_ticks),
        next_step=np.where(goes, following - part_starts, -1),
    )


def _nearest(group: IntArray, wanted: IntArray, key: IntArray) -> IntArray:
    """(n,) of the notes whose `group` is the one `wanted` by each note, the nearest in pitch; -1: none."""
    code = group * 256 + key
    order = np.argsort(code, kind="stable")
    right = np.minimum(code[order].searchsorted(wanted * 256 + key), len(key) - 1)
    left, right = order[np.maximum(right - 1, 0)], order[right]
    gap = [np.where(group[at] == wanted, np.abs(key[at] - key), NONE) for at in (left, right)]
    nearest = np.where(gap[0] <= gap[1], left, right)
    result: IntArray = np.where(group[nearest] == wanted, nearest, -1)
    return result

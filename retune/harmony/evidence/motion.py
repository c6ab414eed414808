"""How each note is reached and left within its part: by step, by leap, by repetition."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retune.harmony.evidence.weights import Weights
from retune.score.model import FloatArray, IntArray

NONE = 99  # no neighbour on that side


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
        step_in = (np.abs(self.into) >= 1) & (np.abs(self.into) <= 2)
        step_out = (np.abs(self.out) >= 1) & (np.abs(self.out) <= 2)
        by_step = step_in & step_out
        passing = by_step & (np.sign(self.into) == np.sign(self.out))
        neighbour = by_step & (self.into == -self.out)
        result = np.ones(len(self.into))
        result[passing] = np.array(weights.passing)[strength[passing]]
        result[neighbour] = np.array(weights.neighbour)[strength[neighbour]]
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
    n = len(notes)
    part, key = notes["part"].astype(np.int64), notes["key"].astype(np.int64)
    place = part * steps + first  # parts one after another, each by steps
    lead = np.unique(place)  # of each chord
    chord = np.searchsorted(lead, place)
    following = np.searchsorted(lead, part * steps + over, side="left")
    goes = following < len(lead)
    goes[goes] = (lead[following[goes]] // steps == part[goes]) & (over[goes] < steps)
    following[~goes] = len(lead)
    next_step = np.full(n, -1, dtype=np.int64)
    next_step[goes] = lead[following[goes]] % steps
    before, after = _nearest(following, chord, key), _nearest(chord, following, key)
    rest = notes["onset_tick"].astype(np.int64) - notes["release_tick"][before]
    return Motion(
        before=before,
        after=after,
        into=np.where(before >= 0, key - key[before], NONE),
        out=np.where(after >= 0, key[after] - key, NONE),
        again=(before >= 0) & (key[before] == key) & (rest < beat_ticks),
        next_step=next_step,
    )


def _nearest(group: IntArray, wanted: IntArray, key: IntArray) -> IntArray:
    """(n,) of the notes whose `group` is the one `wanted` by each note, the nearest in pitch; -1: none."""
    code = group * 256 + key
    order = np.argsort(code, kind="stable")
    right = np.minimum(np.searchsorted(code[order], wanted * 256 + key), len(key) - 1)
    left, right = order[np.maximum(right - 1, 0)], order[right]
    gap = [np.where(group[at] == wanted, np.abs(key[at] - key), NONE) for at in (left, right)]
    nearest = np.where(gap[0] <= gap[1], left, right)
    result: IntArray = np.where(group[nearest] == wanted, nearest, -1)
    return result

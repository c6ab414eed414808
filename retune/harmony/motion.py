"""How each note is reached and left within its part: by step, by leap, by repetition."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retune.harmony.weights import Weights
from retune.score.model import FloatArray, IntArray

NONE = 99  # no neighbour on that side


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Semitones from the nearest note before and to the nearest after, within the part; else NONE."""

    into: IntArray  # (n,)
    out: IntArray  # (n,)
    next_step: IntArray  # (n,) step in which the part strikes its next note, -1: it has none

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


def find_motion(notes: NDArray[np.void], first: IntArray) -> Motion:
    """Motion of every note; `first` is the step each starts in. Notes of a part in one step are one chord.

    The neighbour of a note is the nearest in pitch of the chord before or after it in the same part.
    """
    n = len(notes)
    part, key = notes["part"].astype(np.int64), notes["key"].astype(np.int64)
    order = np.lexsort((key, first, part))
    p, f, k = part[order], first[order], key[order]
    opens = np.ones(n, dtype=bool)
    opens[1:] = (p[1:] != p[:-1]) | (f[1:] != f[:-1])
    chord = np.cumsum(opens) - 1
    code = chord * 256 + k
    lead = np.flatnonzero(opens)
    part_of = p[lead]
    into, out = np.full(n, NONE, dtype=np.int64), np.full(n, NONE, dtype=np.int64)
    next_step = np.full(n, -1, dtype=np.int64)
    next_step[order] = np.where(np.append(part_of[1:], -1) == part_of, np.append(f[lead][1:], -1), -1)[chord]
    for shift, target in ((-1, into), (1, out)):
        other = chord + shift
        ok = (other >= 0) & (other < len(lead))
        ok[ok] = part_of[other[ok]] == p[ok]
        want = other[ok] * 256 + k[ok]
        right = np.clip(np.searchsorted(code, want), 0, n - 1)
        left = np.clip(right - 1, 0, n - 1)
        here = k[ok]
        gap = [np.where(chord[c] == other[ok], k[c] - here, NONE) for c in (left, right)]
        nearest = np.where(np.abs(gap[0]) <= np.abs(gap[1]), gap[0], gap[1])
        values = np.full(n, NONE, dtype=np.int64)
        values[ok] = np.where(nearest == NONE, NONE, -nearest if shift < 0 else nearest)
        target[order] = values
    return Motion(into=into, out=out, next_step=next_step)

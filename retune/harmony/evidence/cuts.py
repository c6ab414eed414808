"""Notes cut at the gathered onsets: which note sounds in which step, and how long.

A step runs from one gathered onset to the next. Onsets up to `GATHER_SECONDS` apart count as one (rolled and
strummed chords, performed timing). Releases make no step of their own: they show in the durations.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retune.arrays import begins
from retune.score.model import Clock, FloatArray, IntArray

GATHER_SECONDS = 0.060  # experiment: the notes of rolled and of performed chords start closer than this
OVERLAP_SECONDS, OVERLAP_SHARE = 0.1, 0.25
"""A note may sound so far, and so much of its length, into the one it goes on to: legato (experiment)."""
MAX_STEPS_OF_A_NOTE = 256  # a note held longer is an organ point that no longer tells the harmony
MOST_SHARES = 4_000_000  # of notes in steps, some 80 bytes each; no music comes near it


@dataclass(frozen=True, slots=True, kw_only=True)
class Cuts:
    """Pitched notes in n steps: a row a note and step it sounds in, k of them."""

    bounds: IntArray  # (n + 1,) ticks, ascending
    lengths: IntArray  # (n,) ticks
    key: IntArray  # (n_notes,) MIDI key
    first: IntArray  # (n_notes,) step in which the note starts
    until: IntArray  # (n_notes,) tick until which the note can count in what follows
    over: IntArray  # (n_notes,) first step that starts when the note is over, but for a legato overlap
    note: IntArray  # (k,)
    step: IntArray  # (k,)
    held: IntArray  # (k,) ticks held by a finger
    ringing: IntArray  # (k,) ticks ringing on under the pedal

    def __len__(self) -> int:
        return len(self.lengths)

    def by_pitch_class(self, key: IntArray, weight: FloatArray) -> FloatArray:
        """(n, 12) summed weights of the rows, each counted for the pitch class of `key` (k,)."""
        total = np.bincount(self.step * 12 + key % 12, weights=weight, minlength=12 * len(self))
        return total.astype(np.float64).reshape(-1, 12)


def cut_notes(notes: NDArray[np.void], end: IntArray, clock: Clock) -> Cuts:
    """Cut notes, at least one, that are heard to their `end` (n_notes,)."""
    onset = notes["onset_tick"].astype(np.int64)
    starts = gather_onsets(onset, clock)
    bounds = np.append(starts, max(int(end.max()), int(onset[-1]) + 1))
    first = starts.searchsorted(onset, side="right") - 1
    until, over = _effective_ends(onset, notes["release_tick"].copy(), end, clock)
    count = np.minimum(np.maximum(bounds.searchsorted(until) - first, 1), MAX_STEPS_OF_A_NOTE)
    if int(count.sum()) > MOST_SHARES:
        count = np.minimum(count, max(MOST_SHARES // len(notes), 1))
    release = np.maximum(notes["release_tick"], onset + 1)
    note = np.arange(len(notes)).repeat(count)
    step = np.arange(len(note)) - (count.cumsum() - count - first).repeat(count)
    low, high = bounds[step], bounds[step + 1]
    held = np.maximum(np.minimum(release[note], high) - low, 0)
    heard = np.maximum(np.minimum(np.maximum(end, release)[note], high) - low, 0)
    return Cuts(
        bounds=bounds,
        lengths=bounds[1:] - starts,
        key=notes["key"].astype(np.int64),
        first=first,
        until=until,
        over=np.maximum(starts.searchsorted(over), first + 1),
        note=note,
        step=step,
        held=held,
        ringing=heard - held,
    )


def gather_onsets(onset: IntArray, clock: Clock) -> IntArray:
    """(n,) ascending ticks at which a step starts, from ascending note onsets."""
    ticks: IntArray = onset[begins(onset)]
    seconds = clock.seconds(ticks)
    if len(ticks) < 2 or (seconds[1:] - seconds[:-1]).min() > GATHER_SECONDS:
        return ticks
    at = seconds.tolist()
    keep, i = [], 0
    while i < len(at):
        keep.append(i)
        i = bisect_right(at, at[i] + GATHER_SECONDS, i)
    result: IntArray = ticks[np.array(keep)]
    return result


def _effective_ends(
    onset: IntArray, release: IntArray, end: IntArray, clock: Clock
) -> tuple[IntArray, FloatArray]:
    """(n,) tick until which a note can count in what follows, and that from which the next of its part can follow.

    A key that comes up late belongs to what was before; and notes may sound a little into what they go on to.
    """
    seconds = clock.seconds(np.stack((end, release))) - [[GATHER_SECONDS], [OVERLAP_SECONDS]]
    until, over = clock.ticks(seconds)
    return np.maximum(until, onset + 1), np.maximum(over, release - OVERLAP_SHARE * (release - onset))

"""Where phrases end: rests first, then cadences, then every fourth bar."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.score.upbeat import begins_with_upbeat

if TYPE_CHECKING:
    from retune.harmony.model import Harmony
    from retune.score.model import Score

IntArray = NDArray[np.int64]

USUAL_BARS = 4
LONGEST_BARS = 6
SHORTEST_BARS = 1.5
MOST_BARS = 100_000  # above this a file holds nonsense, and the whole is one phrase
REST_BEATS = 0.5  # silence of all parts this long ends a phrase
LONG_CHORD = 1.5  # an arrival lasts at least this many times the middle length of a window
_REST, _CADENCE, _BAR = 3.0, 2.0, 1.0  # which sign is believed before which


@dataclass(frozen=True, slots=True, kw_only=True)
class Phrase:
    """A stretch of music that is heard in one go."""

    start_tick: int
    end_tick: int


def find_phrases(score: Score, harmony: Harmony, start_tick: int, end_tick: int) -> tuple[Phrase, ...]:
    """Phrases that fill the stretch from `start_tick` to `end_tick` without gaps.

    From each start the best sign between `SHORTEST_BARS` and `LONGEST_BARS` ahead is taken: a rest before a
    cadence before a bar line; among equals the one nearest to four bars.
    """
    if score.meters.bar_beat(end_tick)[0] > MOST_BARS:
        return (Phrase(start_tick=start_tick, end_tick=end_tick),)
    ticks, strength = _signs(score, harmony, end_tick)
    bars = _bars(score, ticks)
    at, end = _bars(score, np.array([start_tick, end_tick])).tolist()
    edges = [start_tick]
    while end - at > LONGEST_BARS:  # there is a bar line, if nothing else, before that
        lo, hi = np.searchsorted(bars, [at + SHORTEST_BARS, at + LONGEST_BARS], side="right")
        far = np.abs(bars[lo:hi] - at - USUAL_BARS) / LONGEST_BARS
        best = lo + np.argmax(strength[lo:hi] - far)
        edges.append(int(ticks[best]))
        at = float(bars[best])
    if edges[-1] < end_tick:
        edges.append(end_tick)
    return tuple(Phrase(start_tick=a, end_tick=b) for a, b in pairwise(edges))


def _bars(score: Score, ticks: IntArray) -> NDArray[np.float64]:
    """(n,) bars from the start of the file; all of an upbeat lies where the bar after it begins."""
    meters = score.meters
    bars, beats = meters.bar_beat(ticks)
    meter = np.searchsorted(meters.change_ticks, ticks, side="right") - 1
    counted = bars + (beats - 1.0) / meters.numerator[meter]
    if begins_with_upbeat(meters):
        counted = np.maximum(counted, 2.0)
    return np.round(counted, 9)  # thirds of a bar are equal where they should be


def _signs(score: Score, harmony: Harmony, end_tick: int) -> tuple[IntArray, NDArray[np.float64]]:
    """Ticks where a phrase may end and how strongly they say so, in order of time."""
    found = ((_rests(score), _REST), (_cadences(harmony), _CADENCE), (_bar_lines(score, end_tick), _BAR))
    ticks = np.concatenate([ticks for ticks, _ in found])
    strength = np.concatenate([np.full(len(ticks), weight) for ticks, weight in found])
    order = np.argsort(ticks, kind="stable")
    return ticks[order], strength[order]


def _rests(score: Score) -> IntArray:
    """Onsets that follow a silence of all pitched parts."""
    notes = score.notes[score.pitched]
    if not len(notes):
        return np.zeros(0, np.int64)
    reached = np.maximum.accumulate(notes["sounding_end_tick"])
    silence = notes["onset_tick"][1:] - reached[:-1]
    after: IntArray = notes["onset_tick"][1:][silence >= REST_BEATS * score.clock.ticks_per_quarter].astype(
        np.int64
    )
    return after


def _cadences(harmony: Harmony) -> IntArray:
    """Return ends of long windows reached by a falling fifth (dominant to tonic, any chord to its fourth)."""
    windows = harmony.windows
    if len(windows) < 2:
        return np.zeros(0, np.int64)
    length = windows["end_tick"] - windows["start_tick"]
    roots = windows["root_pc"].astype(np.int64)
    falls = (roots[1:] - roots[:-1]) % 12 == 5
    arrives = falls & (length[1:] >= LONG_CHORD * np.median(length))
    ends: IntArray = windows["end_tick"][1:][arrives].astype(np.int64)
    return ends


def _bar_lines(score: Score, end_tick: int) -> IntArray:
    """Return starts of every bar up to the end of the stretch."""
    meters = score.meters
    return meters.bar_ticks(np.arange(2, int(meters.bar_beat(end_tick)[0]) + 1))

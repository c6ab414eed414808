"""Tempo events to the clock."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate, pairwise
from typing import NamedTuple

import numpy as np

from retune.constants import DEFAULT_TEMPO_US
from retune.score.model import Clock

# SMPTE frame rates by the number in the header: 29 stands for 30 drop-frame, which runs at 30000/1001
# frames a second (SMF 2.1 names the four rates; the drop-frame rate is from memory).
_FRAMES_PER_SECOND = {29: 30000 / 1001}
_SMPTE_QUARTER_SECONDS = DEFAULT_TEMPO_US / 1e6  # a quarter where the file has none


class TempoEvent(NamedTuple):
    """A tempo event: absolute tick, microseconds per quarter."""

    tick: int
    tempo_us: int


def build_clock(division: int, tempos: Sequence[TempoEvent]) -> Clock:
    """Clock of a file from its division word and tempo events.

    The events may come in any order; of equal ticks the last holds. Before the first one the tempo is 120 to
    the minute (SMF 1.0).
    """
    if division < 0:
        return _smpte_clock(division)
    change: dict[int, int] = {0: DEFAULT_TEMPO_US}
    for event in sorted(tempos, key=lambda event: event.tick):
        change[event.tick] = event.tempo_us
    seconds_per_tick = [tempo_us / (1e6 * division) for tempo_us in change.values()]
    lengths = (
        (end - start) * rate for (start, end), rate in zip(pairwise(change), seconds_per_tick, strict=False)
    )
    return Clock(
        ticks_per_quarter=float(division),
        change_ticks=np.array(list(change), dtype=np.int64),
        change_seconds=np.array(list(accumulate(lengths, initial=0.0))),
        seconds_per_tick=np.array(seconds_per_tick),
    )


def _smpte_clock(division: int) -> Clock:
    rate = -(division >> 8)
    ticks_per_second = _FRAMES_PER_SECOND.get(rate, float(rate)) * (division & 0xFF)
    return Clock(
        ticks_per_quarter=ticks_per_second * _SMPTE_QUARTER_SECONDS,
        change_ticks=np.zeros(1, dtype=np.int64),
        change_seconds=np.zeros(1),
        seconds_per_tick=np.array([1.0 / ticks_per_second]),
        smpte=True,
    )

"""Bar and beat as a player counts them: a note played a little early belongs to the beat it leads to."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.score.model import REACH

if TYPE_CHECKING:
    from retune.score.model import Meters


def places(meters: Meters, ticks: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Bars and beats of ticks; what lies just before a bar line is beat 1 of the next bar."""
    bars, beats = meters.bar_beat(ticks)
    k = np.searchsorted(meters.change_ticks, ticks, side="right") - 1
    early = beats > meters.numerator[k] + 1.0 - REACH
    return bars + early, np.where(early, 1.0, beats)


def place(meters: Meters, tick: int) -> tuple[int, float]:
    """Bar and beat of one tick (see `places`)."""
    bars, beats = places(meters, np.array([tick], dtype=np.int64))
    return int(bars[0]), float(beats[0])


def begins_with_upbeat(meters: Meters) -> bool:
    """True if the first bar has a meter of its own, shorter than the next: how files write an upbeat."""
    if len(meters.change_ticks) < 2 or int(meters.first_bar[1]) != 2:
        return False
    beats = meters.numerator / meters.denominator
    return bool(beats[0] < beats[1])

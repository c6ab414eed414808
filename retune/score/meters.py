"""Time signatures to bars and beats."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from retune.constants import DEFAULT_METER
from retune.score.model import Meters


class MeterEvent(NamedTuple):
    """A time signature: absolute tick, track index, beats in a bar, note value of the beat."""

    tick: int
    track: int
    numerator: int
    denominator: int


def build_meters(ticks_per_quarter: float, events: Sequence[MeterEvent]) -> Meters:
    """Bars and beats from the time signatures of all tracks; 4/4 before the first (SMF 1.0).

    At equal ticks the first track holds (SMF 2.2 puts the signatures there), and its last event. A
    signature that changes nothing is passed over; one that comes inside a bar cuts the bar short and
    starts the next.
    """
    in_force: dict[int, MeterEvent] = {0: MeterEvent(0, 1 << 30, *DEFAULT_METER)}
    for event in sorted(events, key=lambda event: event.tick):
        if event.track <= in_force.get(event.tick, event).track:
            in_force[event.tick] = event
    changes: list[MeterEvent] = []
    bars: list[int] = []
    for event in in_force.values():
        last = changes[-1] if changes else None
        if last is None:
            bars.append(1)
        elif (last.numerator, last.denominator) == (event.numerator, event.denominator):
            continue
        else:
            bar_ticks = ticks_per_quarter * 4.0 * last.numerator / last.denominator
            bars.append(bars[-1] + int(np.ceil((event.tick - last.tick) / bar_ticks - 1e-9)))
        changes.append(event)
    return Meters(
        change_ticks=np.array([event.tick for event in changes], dtype=np.int64),
        first_bar=np.array(bars, dtype=np.int64),
        numerator=np.array([event.numerator for event in changes], dtype=np.int64),
        denominator=np.array([event.denominator for event in changes], dtype=np.int64),
        ticks_per_quarter=ticks_per_quarter,
    )

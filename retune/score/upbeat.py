"""How the bars of a score begin."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from retune.score.model import Meters


def begins_with_upbeat(meters: Meters) -> bool:
    """True if the first bar has a meter of its own, shorter than the next: how files write an upbeat."""
    if len(meters.change_ticks) < 2 or int(meters.first_bar[1]) != 2:
        return False
    beats = meters.numerator / meters.denominator
    return bool(beats[0] < beats[1])

"""How long notes bind others while they ring on under the pedal."""

from __future__ import annotations

import numpy as np

from retune.score.model import IntArray, Score

RING_REACH_SECONDS = 4.0
"""A note under the pedal has died away enough by then not to bind others (chosen by experiment on piano music)."""


def ringing_end_ticks(score: Score) -> IntArray:
    """(n_notes,) tick to which each note counts: its sounding end, or `RING_REACH_SECONDS` after its release.

    A pedal that is never lifted would else let every note meet every later one.
    """
    release, end = score.notes["release_tick"], score.notes["sounding_end_tick"]
    if np.array_equal(release, end):  # no pedal
        return release
    reach = score.clock.ticks(score.clock.seconds(release) + RING_REACH_SECONDS)
    result: IntArray = np.maximum(np.minimum(end, reach), release)
    return result

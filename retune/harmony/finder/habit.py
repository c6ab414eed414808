"""How often the harmony of a piece moves, by metrical place: the harmonic rhythm a listener comes to expect.

A chorale changes chord on every beat, a madrigal mostly on half-bars, a song on downbeats. Where much around
seems to change on places of one strength, one more change there is less of a surprise and costs less; where little
does, it costs more.
"""

from __future__ import annotations

import numpy as np

from retune.arrays import so_far
from retune.score.model import FloatArray, IntArray

TURNS = 0.4  # from this novelty on the harmony seems to change
USUAL: FloatArray = np.array([0.60, 0.44, 0.34])
"""Share of downbeats, half-bars and beats on which it does, on average over the pieces of docs/harmony.md."""
AROUND_BEATS = 64.0  # how far one listens, either way
TRUST = 4.0  # so many places like the usual ones are counted in: one or two places say little
MOST = 1.0  # log odds: no habit counts for more
COST = 0.3  # points for each unit of log odds
"""All chosen by hand, checked on human analyses, with tables fitted to the other half of them (docs/harmony.md)."""


def habit(novelty: FloatArray, strength: IntArray, beats: FloatArray) -> FloatArray:
    """(n,) points by which a change of chord costs less at each step than at such places of other pieces.

    `novelty` (n,) how much seems to change at each step, `strength` (n,) of its place, `beats` (n,) where it starts.
    """
    points = np.zeros(len(beats))
    for level, usual in enumerate(USUAL):
        at = np.flatnonzero(strength == level)
        turns, places = so_far(novelty[at] > TURNS), beats[at]
        low = places.searchsorted(places - AROUND_BEATS)
        high = places.searchsorted(places + AROUND_BEATS, side="right")
        share = (turns[high] - turns[low] + TRUST * usual) / (high - low + TRUST)
        more = _log_odds(share) - _log_odds(usual)
        points[at] = COST * np.minimum(np.maximum(more, -MOST), MOST)
    return points


def _log_odds(share: FloatArray) -> FloatArray:
    result: FloatArray = np.log(share / (1.0 - share))
    return result

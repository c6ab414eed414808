"""The input made plain for an encoding: what notes on other channels would lose is said in another way."""

from __future__ import annotations

import numpy as np

from retune.encode.dissolve import dissolved
from retune.encode.own_tables import absorbed
from retune.options import Options
from retune.score.model import Score
from retune.tuning.model import Tuning

OCTAVE_REACH_CENTS = 99.9
"""How far octave tables reach (MIDI Tuning Updated Specification p. 8: -100 to +99.988 cents)."""


def plain(score: Score, tuning: Tuning, options: Options) -> tuple[Score, Tuning, float]:
    """Score and tuning that sound the same without zones and tables; and the error of that [cents].

    Where octave tables do not reach as far as single note tunings of the input, these stay in the file.
    """
    without, whole = absorbed(score, tuning)
    if options.encoding == "mts-octave" and _reach(whole) > max(OCTAVE_REACH_CENTS, _reach(tuning)):
        without, whole = absorbed(score, tuning, keys=False)
    without, error = dissolved(without)
    return without, whole, error


def _reach(tuning: Tuning) -> float:
    return float(np.abs(tuning.offsets["offset_cents"]).max(initial=0.0))

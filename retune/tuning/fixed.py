"""Tunings that nothing is solved for: twelve fixed pitches, and a table for each chord.

They are what the solved tuning is compared with, and what a keyboard tuned once, or a retuning table
switched with each chord, would sound like.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.tuning.model import OFFSET_DTYPE, Tuning
from retune.tuning.rows import piece_deviations
from retune.tuning.solve import offset_rows

if TYPE_CHECKING:
    from retune.harmony.model import Harmony
    from retune.ratios.model import Ratios
    from retune.score.model import Score

Floats = NDArray[np.float64]


def fixed_tuning(score: Score, harmony: Harmony | None, offsets: Floats) -> Tuning:
    """Every pitched note at the offset of its pitch class, for the whole of its length.

    Parameters
    ----------
    score : Score
        The notes; percussion is left out.
    harmony : Harmony or None
        Only asked for the roots, to say where they sit; None gives a tuning without windows.
    offsets : array, shape (12,)
        Offsets of the pitch classes, C first, as `retune.tuning.temperaments.temperament` gives them [cents].

    """
    pitched = np.flatnonzero(score.pitched)
    notes = score.notes[pitched]
    rows = np.zeros(len(pitched), OFFSET_DTYPE)
    rows["note"] = pitched
    rows["start_tick"] = notes["onset_tick"]
    rows["end_tick"] = notes["sounding_end_tick"]
    rows["offset_cents"] = offsets[notes["key"] % 12]
    roots = np.zeros(0) if harmony is None else offsets[harmony.windows["root_pc"]]
    return Tuning(offsets=rows, displacement_cents=roots)


def table_per_chord(score: Score, harmony: Harmony, ratios: Ratios) -> Tuning:
    """Every piece of a note at its window's ratio above an equal-tempered root.

    Each chord is as pure as its table, and every note that sounds on into another chord jumps.
    """
    offsets = offset_rows(score, harmony, piece_deviations(score, harmony, ratios))
    return Tuning(offsets=offsets, displacement_cents=np.zeros(len(harmony.windows)))

"""Augmented sixth chords, told by where they go (any harmony textbook; common practice, no source).

Over the bass a major third and what sounds as a minor seventh, with nothing more (Italian), the fifth (German) or the
augmented fourth (French); the bass falls by a semitone, the seventh rises by one, to its octave. Where the bass
goes from the minor sixth of the key to its fifth, it is enough that the seventh does not fall.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.arrays import among
from retune.harmony.evidence.steps import Steps
from retune.harmony.finder.naming import MEMBERS, heard_above
from retune.harmony.vocabulary import AUGMENTED_SIXTH_INDICES, INDEX_OF_SYMBOL
from retune.score.model import FloatArray, IntArray

SIXTH = 10  # semitones above the bass
MINOR_SIXTH = 8  # of the key, semitones above the tonic
LIKE = [INDEX_OF_SYMBOL[symbol] for symbol in ("7", "7b5", "9")]  # what such a chord may have been called


def find_augmented_sixths(
    windows: NDArray[np.void], amount: FloatArray, first: IntArray, steps: Steps, tonic: IntArray
) -> None:
    """Name the augmented sixths among the windows anew. Changes `windows`.

    `amount` (n, 12) is what sounds in each, `first` the step each starts with, `tonic` (n,) that
    of its key.
    """
    bass = windows["bass_pc"].astype(np.int64)
    falls = np.concatenate([(bass[:-1] - bass[1:]) % 12 == 1, [False]])
    if not falls.any():
        return
    there = heard_above(amount, bass)
    alone = ~there[:, [1, 2, 3, 5, 8, 9, 11]].any(axis=1) & ~(there[:, 6] & there[:, 7])
    named = (windows["root_pc"] == bass) & among(windows["chord"], LIKE)
    found = falls & there[:, 4] & there[:, SIXTH] & (alone | named)
    rises, sinks = _goes_on(bass, first, steps)
    found &= ~sinks & (rises | ((bass - tonic) % 12 == MINOR_SIXTH))
    kind = np.array(AUGMENTED_SIXTH_INDICES)[np.where(there[:, 7], 1, np.where(there[:, 6], 2, 0))[found]]
    windows["root_pc"][found] = bass[found]
    windows["chord"][found], windows["members"][found] = kind, MEMBERS[kind]


def _goes_on(bass: IntArray, first: IntArray, steps: Steps) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """(n,) where a part goes into the next window from the sixth above a window's bass, a semitone up; by step down."""
    motion = steps.motion
    window = np.searchsorted(first, steps.first, side="right") - 1
    ahead = np.searchsorted(first, motion.next_step, side="right") - 1
    leaves = np.flatnonzero((motion.next_step >= 0) & (ahead > window))
    at = ahead[leaves] - 1
    sixth = (steps.key[leaves] - bass[at]) % 12 == SIXTH
    up, down = motion.out[leaves] == 1, (motion.out[leaves] == -1) | (motion.out[leaves] == -2)
    rises, sinks = np.zeros(len(bass), dtype=bool), np.zeros(len(bass), dtype=bool)
    rises[at[sixth & up]] = True
    sinks[at[sixth & down]] = True
    return rises, sinks

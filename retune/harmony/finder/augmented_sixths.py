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
from retune.harmony.finder.naming import MEMBERS, sets_above
from retune.harmony.vocabulary import AUGMENTED_SIXTH_INDICES, INDEX_OF_SYMBOL
from retune.score.model import IntArray

SIXTH = 10  # semitones above the bass
MINOR_SIXTH = 8  # of the key, semitones above the tonic
THIRD_AND_SIXTH, FOURTH, FIFTH = 1 << 4 | 1 << SIXTH, 1 << 6, 1 << 7  # sets of tones above the bass
GERMAN, FRENCH = THIRD_AND_SIXTH | FIFTH, THIRD_AND_SIXTH | FOURTH
LIKE = [INDEX_OF_SYMBOL[symbol] for symbol in ("7", "7b5", "9")]  # what such a chord may have been called


def find_augmented_sixths(
    windows: NDArray[np.void], sets: IntArray, first: IntArray, steps: Steps, tonic: IntArray
) -> None:
    """Name the augmented sixths among the windows anew. Changes `windows`.

    `sets` (n,) of pitch classes are what sounds in each (`audible_sets`), `first` the step each starts with,
    `tonic` (n,) that of its key.
    """
    bass = windows["bass_pc"].astype(np.int64)
    falls = np.concatenate([(bass[:-1] - bass[1:]) % 12 == 1, [False]])
    above = sets_above(sets, bass) & ~1
    alone = (above == THIRD_AND_SIXTH) | (above == GERMAN) | (above == FRENCH)
    named = (windows["root_pc"] == bass) & among(windows["chord"], LIKE)
    found = falls & (above & THIRD_AND_SIXTH == THIRD_AND_SIXTH) & (alone | named)
    if not found.any():
        return
    rises, sinks = _goes_on(bass, first, steps)
    found &= ~sinks & (rises | ((bass - tonic) % 12 == MINOR_SIXTH))
    kind = np.array(AUGMENTED_SIXTH_INDICES)[
        np.where(above & FIFTH, 1, np.where(above & FOURTH, 2, 0))[found]
    ]
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

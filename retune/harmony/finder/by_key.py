"""What key and neighbours say about windows that leave out tones: third or root (common practice, no source)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.harmony.finder.naming import MEMBERS, sets_above
from retune.harmony.vocabulary import CHORD_TYPES, INDEX_OF_SYMBOL
from retune.score.model import IntArray

THIRD_OF_DEGREE = np.array(
    [
        [4, 0, 3, 0, 3, 4, 0, 4, 0, 3, 0, 3],  # major
        [3, 0, 3, 4, 0, 3, 0, 4, 4, 0, 4, 3],  # minor, with its leading note in the dominant
    ]
)
"""Semitones of the third over each degree of a key, by semitones above the tonic; 0: no degree of it."""

OTHER_THIRD: IntArray = np.array(
    [
        next((i for i, other in enumerate(CHORD_TYPES) if set(other.intervals) == set(turned)), -1)
        for turned in ([7 - s if s in (3, 4) else s for s in kind.intervals] for kind in CHORD_TYPES)
    ]
)
"""By chord type: the type with the other third, -1 if there is none."""
OTHER_THIRD[[not (3 in kind.intervals) ^ (4 in kind.intervals) for kind in CHORD_TYPES]] = -1
THIRD_IN = np.array([0, 3, 4, 4])  # semitones of the third, by whether the minor and (2) the major one sound
TRIAD = sum(1 << step for step in (0, 3, 4, 6, 7, 8))  # root, thirds and fifths, of any chord
DOMINANT, LEADING = 7, 11  # degrees, semitones above the tonic


def follow_key(windows: NDArray[np.void], sets: IntArray, tonic: IntArray, minor: IntArray) -> None:
    """Re-read windows in the light of the key. Changes `windows`.

    `sets` (n,) of pitch classes are what sounds in each (`audible_sets`), `tonic` and `minor` (n,) are of
    its key (`tonics_at`).
    """
    _lead_to_dominant(windows, sets, tonic)
    _choose_thirds(windows, sets, tonic, minor)
    _carry_on(windows)


def _choose_thirds(windows: NDArray[np.void], sets: IntArray, tonic: IntArray, minor: IntArray) -> None:
    """Chords without a third have that of the chord beside them over the same root, or else of the key."""
    root, chord = windows["root_pc"].astype(np.int64), windows["chord"].astype(np.int64)
    third = THIRD_IN[sets_above(sets, root) >> 3 & 3]
    open_ = (third == 0) & (chord >= 0) & (OTHER_THIRD[chord] >= 0)
    if not open_.any():
        return
    same = np.concatenate([root[1:] == root[:-1], [False]])
    after = np.where(same, np.roll(third, -1), 0)
    before = np.where(np.roll(same, 1), np.roll(third, 1), 0)
    in_key = THIRD_OF_DEGREE[minor, (root - tonic) % 12]
    wanted = np.where(after > 0, after, np.where(before > 0, before, in_key))
    has = np.where(MEMBERS[chord] >> 4 & 1, 4, 3)
    turn = np.flatnonzero(open_ & (wanted > 0) & (wanted != has))
    windows["chord"][turn] = OTHER_THIRD[chord[turn]]
    windows["members"][turn] = MEMBERS[OTHER_THIRD[chord[turn]]]


def _lead_to_dominant(windows: NDArray[np.void], sets: IntArray, tonic: IntArray) -> None:
    """The leading note and the second degree alone, over a tonic pedal or not, are the dominant's third and fifth."""
    degrees = sets_above(sets, tonic)
    on_tonic = windows["bass_pc"] == tonic
    third = 1 << LEADING | 1 << 2
    found = (degrees == third) | (on_tonic & (degrees == (third | 1)))
    if not found.any():
        return
    chord = INDEX_OF_SYMBOL["maj"]
    windows["root_pc"][found] = (tonic[found] + DOMINANT) % 12
    windows["chord"][found], windows["members"][found] = chord, MEMBERS[chord]


def _carry_on(windows: NDArray[np.void]) -> None:
    """A pitch class alone carries on the chord before, if it is of its triad; at the opening, the chord to come."""
    alone = INDEX_OF_SYMBOL["1"]
    for k in np.flatnonzero(windows["chord"] == alone).tolist():
        other = k - 1 if k else 1
        if other >= len(windows) or windows["chord"][other] == alone:
            continue
        if (int(windows["members"][other]) & TRIAD) >> (
            int(windows["root_pc"][k]) - int(windows["root_pc"][other])
        ) % 12 & 1:
            for field in ("root_pc", "chord", "members"):
                windows[field][k] = windows[field][other]

"""The harmony: windows with root, chord type and bass, the role of each note in them, and the keys."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from retune.errors import Remark

WINDOW_DTYPE = np.dtype(
    [
        ("start_tick", np.int64),
        ("end_tick", np.int64),
        ("root_pc", np.int8),  # 0-11, C = 0
        ("bass_pc", np.int8),  # pitch class of the lowest note that carries the window
        ("chord", np.int16),  # index into vocabulary.CHORD_TYPES; -1: no named chord
        ("members", np.uint16),  # bit s set: the pitch class s semitones above the root is a chord tone
        ("given", np.bool_),  # True: a hint (plan, marker) said so, the finder did not choose
    ]
)
"""One row a window, in order, without gaps or overlaps, from the bar of the first pitched onset to the end of the bar
of the last sound."""


class Role(IntEnum):
    """What a note does in a window."""

    CHORD = 0
    PASSING = 1
    NEIGHBOUR = 2
    SUSPENSION = 3
    ANTICIPATION = 4
    APPOGGIATURA = 5
    PEDAL = 6
    OTHER = 7  # a non-chord tone none of the names above fits


PIECE_DTYPE = np.dtype(
    [
        ("note", np.int64),  # index into Score.notes
        ("window", np.int64),  # index into Harmony.windows
        ("start_tick", np.int64),
        ("end_tick", np.int64),
        ("role", np.int8),  # Role
    ]
)
"""A piece is the part of a pitched note inside one window: notes are cut where windows change. Ordered by
(note, start_tick). Every pitched note has at least one piece; a note of no length has one piece of no length.
Pieces cover onset to sounding end, or as long as a note that rings under the pedal counts
(`retune.score.ringing`)."""


KEY_DTYPE = np.dtype(
    [
        ("start_tick", np.int64),
        ("end_tick", np.int64),
        ("tonic_pc", np.int8),
        ("minor", np.bool_),
        ("fifths", np.int8),  # key signature: sharps positive, flats negative; decides spelling
    ]
)


def keys_at(keys: NDArray[np.void], ticks: NDArray[np.int64]) -> NDArray[np.int64]:
    """(n,) row of `keys` (KEY_DTYPE, at least one) in force at each tick."""
    rows: NDArray[np.int64] = np.searchsorted(keys["start_tick"], ticks, side="right") - 1
    return np.maximum(rows, 0)


def main_key_row(keys: NDArray[np.void]) -> int:
    """Row of `keys` (KEY_DTYPE, at least one) with the key that holds for the longest time in all."""
    name = keys["tonic_pc"].astype(np.int64) + 12 * keys["minor"]
    time = np.bincount(name, weights=keys["end_tick"] - keys["start_tick"])
    return int(np.flatnonzero(name == time.argmax())[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Hint:
    """A stretch whose harmony is given from outside (plan or chord symbols) and must be used as it is.

    `chord` is a symbol of the vocabulary; `members` overrides its pitch classes if not None. A set without a
    name has `chord` "" and its `members`.
    """

    start_tick: int
    end_tick: int
    root_pc: int
    chord: str
    bass_pc: int | None = None
    members: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Harmony:
    """What the harmony stage found."""

    windows: NDArray[np.void]  # WINDOW_DTYPE
    pieces: NDArray[np.void]  # PIECE_DTYPE
    keys: NDArray[np.void]  # KEY_DTYPE
    remarks: tuple[Remark, ...] = field(default=())

    def key_at(self, tick: int) -> np.void:
        """The KEY_DTYPE row in force at a tick, which decides spelling; C major where no key is known."""
        keys = self.keys if len(self.keys) else np.zeros(1, dtype=KEY_DTYPE)
        row: np.void = keys[int(keys_at(keys, np.array([tick]))[0])]
        return row

    def main_key(self) -> np.void:
        """The KEY_DTYPE row of the key that holds for the longest time in all; C major where no key is known."""
        if not len(self.keys):
            return self.key_at(0)
        row: np.void = self.keys[main_key_row(self.keys)]
        return row

"""Which pieces of notes share one unknown offset, and which offsets are given."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from retune.arrays import begins
from retune.harmony.model import Harmony
from retune.score.model import Score
from retune.tuning.weights import HOLD_WORTH_MOVING_CENTS

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


class Unknowns(NamedTuple):
    """Numbering of the unknowns.

    First offsets of notes or pieces, then displacements of windows, then the centres of notes whose movement
    is limited.
    """

    of_piece: Ints  # (n_pieces,) unknown of each piece
    first: Ints  # (offsets,) first piece of each offset unknown; the others follow it
    windows: int  # how many windows; window k is unknown offsets + k
    limited: Ints  # notes whose pieces move on their own within a finite hold limit; their centres come last
    hold_limit: Floats  # (n_notes,) hold limit of each note [cents]: the strictest of the windows it crosses
    piece_of: Ints  # (n_notes + 1,) pieces of note n: piece_of[n] to piece_of[n + 1]

    @property
    def offsets(self) -> int:
        """How many offset unknowns."""
        return len(self.first)

    @property
    def size(self) -> int:
        """How many unknowns there are in all."""
        return self.offsets + self.windows + len(self.limited)

    def at_start(self, note: Ints) -> Ints:
        """Unknowns of the first pieces of notes."""
        return self.of_piece[self.piece_of[note]]

    def at_end(self, note: Ints) -> Ints:
        """Unknowns of the last pieces of notes."""
        return self.of_piece[self.piece_of[note + 1] - 1]


def number_unknowns(score: Score, harmony: Harmony, hold_limit: Floats) -> Unknowns:
    """Numbers the unknowns; `hold_limit` is (n_windows,) cents."""
    note = harmony.pieces["note"]
    limit = np.full(len(score.notes), np.inf)
    np.minimum.at(limit, note, hold_limit[harmony.pieces["window"]])
    piece_of = note.searchsorted(np.arange(len(score.notes) + 1))
    cut = (piece_of[1:] - piece_of[:-1] > 1) & (limit >= HOLD_WORTH_MOVING_CENTS)
    new = begins(note) | cut[note]
    return Unknowns(
        of_piece=new.cumsum() - 1,
        first=new.nonzero()[0],
        windows=len(harmony.windows),
        limited=(cut & np.isfinite(limit)).nonzero()[0],
        hold_limit=limit,
        piece_of=piece_of,
    )


def begin_ticks(score: Score, harmony: Harmony, unknowns: Unknowns) -> Ints:
    """(size,) tick at which the piece, window or note of each unknown begins."""
    return np.concatenate(
        [
            harmony.pieces["start_tick"][unknowns.first],
            harmony.windows["start_tick"],
            score.notes["onset_tick"][unknowns.limited],
        ]
    )

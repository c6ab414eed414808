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
    offsets: int  # how many offset unknowns
    windows: int  # how many windows; window k is unknown offsets + k
    cut_notes: Ints  # notes whose pieces move on their own
    limited: Ints  # of those, the ones with a finite hold limit; their centres come last
    first_piece: Ints  # (n_notes,) first piece of each note, -1 for percussion
    last_piece: Ints  # (n_notes,)

    @property
    def size(self) -> int:
        """How many unknowns there are in all."""
        return self.offsets + self.windows + len(self.limited)

    def of_window(self, window: Ints) -> Ints:
        """Unknowns of windows."""
        return self.offsets + window


def number_unknowns(score: Score, harmony: Harmony, hold_limit: Floats) -> Unknowns:
    """Numbers the unknowns; `hold_limit` is (n_windows,) cents, a note obeys the strictest it crosses."""
    notes, pieces = score.notes, harmony.pieces
    note = pieces["note"]
    starts_note = begins(note)
    count = np.bincount(note, minlength=len(notes))
    limit = np.full(len(notes), np.inf)
    np.minimum.at(limit, note, hold_limit[pieces["window"]])
    cut = (count > 1) & (limit >= HOLD_WORTH_MOVING_CENTS)
    of_piece = np.cumsum(starts_note | cut[note]) - 1
    first = np.full(len(notes), -1, dtype=np.int64)
    last = np.full(len(notes), -1, dtype=np.int64)
    index = np.arange(len(pieces))
    first[note[starts_note]] = index[starts_note]
    last[note] = index
    return Unknowns(
        of_piece=of_piece,
        offsets=int(of_piece[-1]) + 1 if len(pieces) else 0,
        windows=len(harmony.windows),
        cut_notes=np.flatnonzero(cut),
        limited=np.flatnonzero(cut & np.isfinite(limit)),
        first_piece=first,
        last_piece=last,
    )


def begin_ticks(score: Score, harmony: Harmony, unknowns: Unknowns) -> Ints:
    """(size,) tick at which the piece, window or note of each unknown begins."""
    ticks = np.empty(unknowns.size, dtype=np.int64)
    pieces = harmony.pieces[::-1]  # backwards, so that the first piece of a note is written last
    ticks[unknowns.of_piece[::-1]] = pieces["start_tick"]
    windows = unknowns.offsets + unknowns.windows
    ticks[unknowns.offsets : windows] = harmony.windows["start_tick"]
    ticks[windows:] = score.notes["onset_tick"][unknowns.limited]
    return ticks


def limit_of_notes(score: Score, harmony: Harmony, hold_limit: Floats) -> Floats:
    """(n_notes,) hold limit of each note [cents]: the strictest of the windows it crosses."""
    limit = np.full(len(score.notes), np.inf)
    np.minimum.at(limit, harmony.pieces["note"], hold_limit[harmony.pieces["window"]])
    return limit

"""The tuning: an offset for every piece of every pitched note, and what it cost."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from retune.errors import Remark
from retune.options import Options
from retune.units import reference_shift_cents

OFFSET_DTYPE = np.dtype(
    [
        ("note", np.int64),  # index into Score.notes
        ("start_tick", np.int64),  # first row of a note: its onset tick
        ("end_tick", np.int64),  # last row of a note: its sounding end tick
        ("offset_cents", np.float64),  # from 12-tone equal temperament at A4 = 440 Hz, whatever the reference
    ]
)
"""Offsets as steps in time: ordered by (note, start_tick), at least one row for every pitched note, rows of a
note without gaps, neighbouring rows of a note differ. Notes of percussion parts have no rows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compromise:
    """A place where purity gave way, or where a line did."""

    tick: int
    notes: tuple[int, ...]  # indices into Score.notes
    window: int
    cents: float  # how far the interval is from pure, or the note from where it was; signed
    reason: str  # a sentence for a musician


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuning:
    """What the tuning stage decided."""

    offsets: NDArray[np.void]  # OFFSET_DTYPE
    displacement_cents: NDArray[np.float64]  # (n_windows,) where each window's root sits
    options: Options | None = None  # what it was asked to be; None for fixed tunings
    compromises: tuple[Compromise, ...] = field(default=())  # intervals that are not pure
    shifts: tuple[Compromise, ...] = field(default=())  # notes that change their pitch held or struck again
    remarks: tuple[Remark, ...] = field(default=())

    def counted_from(self, reference_hz: float) -> Tuning:
        """The same with offsets from 12-tone equal temperament at a reference pitch [Hz], as people count."""
        offsets = self.offsets.copy()
        offsets["offset_cents"] -= reference_shift_cents(reference_hz)
        return replace(self, offsets=offsets)

    def at(self, notes: NDArray[np.int64], ticks: NDArray[np.int64] | int) -> NDArray[np.float64]:
        """(n,) offset of each note at its tick, or all at one [cents]; before its onset, that of its onset."""
        rows = self.offsets
        span = int(rows["end_tick"].max(initial=0)) + 1
        place = rows["note"] * span + rows["start_tick"]
        row = np.searchsorted(place, notes * span + ticks, side="right") - 1
        result: NDArray[np.float64] = rows["offset_cents"][np.maximum(row, 0)]
        return result

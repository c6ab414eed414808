"""Notes with their pitch over time, wherever the pitch comes from: a plan, a score as written, decoded bytes.

All figures are computed from this one form, so a tuning can be judged before and after it is written.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from retune.arrays import begins, ends, so_far
from retune.check.receiver.sounding import BoolArray, FloatArray, IntArray, Sounding, Table
from retune.score.model import Score
from retune.tuning.model import Tuning


class TunedNotes(NamedTuple):
    """Columns of notes, and rows of pitch from key down to key up (release tails are not measured).

    Percussion and notes of no length have no rows. `note` of a row indexes the note columns; where the notes
    come from a score they are numbered as in `Score.notes`.
    """

    ticks_per_quarter: float
    onset: IntArray  # (n_notes,) ticks
    release: IntArray  # (n_notes,)
    key: IntArray  # (n_notes,)
    part: IntArray  # (n_notes,) any number that tells parts apart
    note: IntArray  # (n_rows,) ordered by (note, start)
    start: IntArray  # (n_rows,) ticks
    end: IntArray  # (n_rows,)
    cents: FloatArray  # (n_rows,) from equal temperament at A4 = 440 Hz

    @property
    def first_rows(self) -> IntArray:
        """First row of each note that has any."""
        return np.flatnonzero(begins(self.note))

    @property
    def last_rows(self) -> IntArray:
        """Last row of each note that has any."""
        return np.flatnonzero(ends(self.note))

    def mean_between(self, notes: IntArray, starts: IntArray, ends: IntArray) -> FloatArray:
        """Mean cents of each note between two ticks; nan where the note does not sound."""
        span = int(max(self.end.max(initial=0), np.max(ends, initial=0))) + 1
        areas = so_far(self.cents * (self.end - self.start))
        starts_at = self.note * span + self.start

        def area(ticks: IntArray) -> FloatArray:
            row = np.searchsorted(starts_at, notes * span + ticks, side="right") - 1
            result: FloatArray = areas[row] + self.cents[row] * (ticks - self.start[row])
            return result

        result = np.full(len(notes), np.nan)
        if not len(self.note):
            return result
        begin, finish = np.maximum(starts, self.onset[notes]), np.minimum(ends, self.release[notes])
        has_rows = np.zeros(len(self.onset), dtype=bool)
        has_rows[self.note] = True
        good = has_rows[notes] & (finish > begin)
        notes, begin, finish = notes[good], begin[good], finish[good]
        result[good] = (area(finish) - area(begin)) / (finish - begin)
        return result


def heard(sounding: Sounding) -> TunedNotes:
    """A decoded file by itself: parts are its tracks and channels."""
    notes = sounding.notes
    part = (notes["port"].astype(np.int64) << 24) | (notes["track"].astype(np.int64) << 4) | notes["channel"]
    return _clipped(
        sounding.ticks_per_quarter,
        notes["onset_tick"],
        notes["release_tick"],
        notes["key"].astype(np.int64),
        part,
        ~notes["percussion"],
        sounding.curve,
        "cents",
    )


def heard_as(score: Score, sounding: Sounding, place: IntArray) -> TunedNotes:
    """A decoded file, its notes numbered and grouped into parts as in the score it stems from.

    `place` (n_heard,) is the number of each decoded note in `score.notes`, -1 for a note the score lacks.
    """
    return planned(score, numbered_as(sounding.curve, place), "cents")


def numbered_as(curve: Table, place: IntArray) -> Table:
    """CURVE_DTYPE rows of the notes that have a `place` of 0 or more, numbered and ordered by it."""
    note = place[curve["note"]]
    rows: Table = curve[note >= 0]
    rows["note"] = note[note >= 0]
    if (rows["note"][1:] < rows["note"][:-1]).any():
        rows = rows[np.argsort(rows["note"], kind="stable")]  # those of a note are in order of time
    return rows


def planned(score: Score, rows: Table, value: str = "offset_cents") -> TunedNotes:
    """A score with offsets as rows of `tuning.model.OFFSET_DTYPE`."""
    notes = score.notes
    return _clipped(
        score.clock.ticks_per_quarter,
        notes["onset_tick"],
        notes["release_tick"],
        notes["key"].astype(np.int64),
        notes["part"].astype(np.int64),
        score.pitched,
        rows,
        value,
    )


def tuned(score: Score, tuning: Tuning) -> TunedNotes:
    """A score as a tuning means it to sound, before anything is written."""
    return planned(score, tuning.offsets)


def equal_tempered(score: Score) -> TunedNotes:
    """A score in equal temperament."""
    notes = score.notes
    return TunedNotes(
        ticks_per_quarter=score.clock.ticks_per_quarter,
        onset=notes["onset_tick"],
        release=notes["release_tick"],
        key=notes["key"].astype(np.int64),
        part=notes["part"].astype(np.int64),
        note=(note := np.flatnonzero(score.pitched & (notes["release_tick"] > notes["onset_tick"]))),
        start=notes["onset_tick"][note],
        end=notes["release_tick"][note],
        cents=np.zeros(len(note)),
    )


def _clipped(
    ticks_per_quarter: float,
    onset: IntArray,
    release: IntArray,
    key: IntArray,
    part: IntArray,
    pitched: BoolArray,
    rows: Table,
    value: str,
) -> TunedNotes:
    """Rows of pitched notes, ending at the release."""
    note = rows["note"]
    start, end = rows["start_tick"], np.minimum(rows["end_tick"], release[note])
    kept = pitched[note] & (end > start)
    return TunedNotes(
        ticks_per_quarter=ticks_per_quarter,
        onset=onset,
        release=release,
        key=key,
        part=part,
        note=note[kept],
        start=start[kept],
        end=end[kept],
        cents=rows[value][kept],
    )

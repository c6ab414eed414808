"""Which decoded note is which note of the original."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from retune.arrays import begins
from retune.check.pairing import rank_in_group
from retune.check.sounding import BoolArray, FloatArray, IntArray

Columns = Sequence[IntArray]

SAME_NOTE_CENTS = 150.0  # nearer in pitch than a tone: one note, however numbered


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteColumns:
    """What a note is recognised by, most telling first."""

    onset: IntArray
    key: IntArray
    velocity: IntArray
    release: IntArray
    percussion: IntArray  # 0 or 1
    program: IntArray
    track: IntArray
    settings: IntArray  # volume, pan, expression and sustain as one number
    cents: FloatArray  # at the onset; tells equal notes of two parts apart

    def __len__(self) -> int:
        return len(self.onset)


def match_notes(original: NoteColumns, decoded: NoteColumns) -> IntArray:
    """(n_decoded,) number of the original note each decoded note is, -1 for one too many.

    Notes equal in everything are paired first, then those equal in all but the controllers, in all but these,
    program and track, in all but whether they are drums too, in all but the release, last those that share only
    onset and key. Equal notes are taken in order of pitch.
    """
    place = np.full(len(decoded), -1, dtype=np.int64)
    left = np.ones(len(original), dtype=bool)
    for telling in (8, 7, 5, 4, 3, 2):
        mine, theirs = np.flatnonzero(left), np.flatnonzero(place < 0)
        if not len(mine) or not len(theirs):
            break
        a, b = _pair_equal(_columns(original, mine, telling), _columns(decoded, theirs, telling))
        place[theirs[b]] = mine[a]
        left[mine[a]] = False
    return place


def match_by_pitch(original: NoteColumns, decoded: NoteColumns, place: IntArray) -> IntArray:
    """`place` with the notes left over paired by onset, velocity, release and pitch, whatever their keys.

    In a MIDI 2.0 clip the number of a note may be a mere index (M2-104-UM v1.1.2, 7.4.15.3), and which key it stands
    for is not always to be guessed from its pitch.
    """
    place = place.copy()
    taken = np.zeros(len(original), dtype=bool)
    taken[place[place >= 0]] = True
    mine, theirs = np.flatnonzero(~taken), np.flatnonzero(place < 0)
    if len(mine) and len(theirs):
        a, b = _pair_equal(_pitch_columns(original, mine), _pitch_columns(decoded, theirs))
        a, b = mine[a], theirs[b]
        near = np.abs(_pitch(original)[a] - _pitch(decoded)[b]) <= SAME_NOTE_CENTS
        place[b[near]] = a[near]
    return place


def _pitch(notes: NoteColumns) -> FloatArray:
    """Cents from key 0 at the onset."""
    result: FloatArray = 100.0 * notes.key + notes.cents
    return result


def _pitch_columns(notes: NoteColumns, rows: IntArray) -> list[IntArray]:
    columns = (notes.onset[rows], notes.velocity[rows], notes.release[rows])
    return [*(column.astype(np.int64) for column in columns), _rank(_pitch(notes)[rows])]


def _rank(values: FloatArray) -> IntArray:
    rank = np.empty(len(values), dtype=np.int64)
    rank[np.argsort(values, kind="stable")] = np.arange(len(values))
    return rank


def _columns(notes: NoteColumns, rows: IntArray, telling: int) -> list[IntArray]:
    columns = (
        notes.onset,
        notes.key,
        notes.velocity,
        notes.release,
        notes.percussion,
        notes.program,
        notes.track,
        notes.settings,
    )
    return [*(column[rows].astype(np.int64) for column in columns[:telling]), _rank(notes.cents[rows])]


def _pair_equal(a: Columns, b: Columns) -> tuple[IntArray, IntArray]:
    """Rows of `a` and `b` equal in all columns but the last, paired in the order of the last."""
    group, order = grouped(a[:-1], b[:-1], a[-1], b[-1])
    size = len(a[0])
    of_b = order >= size
    width = len(order) + 1
    keys_a = group[~of_b] * width + rank_in_group(group[~of_b])
    keys_b = group[of_b] * width + rank_in_group(group[of_b])
    k = np.searchsorted(keys_a, keys_b)
    found = np.append(keys_a, -1)[k] == keys_b
    return order[~of_b][k[found]], order[of_b][found] - size


def grouped(
    a: Columns, b: Columns, a_tie: IntArray | None = None, b_tie: IntArray | None = None
) -> tuple[IntArray, IntArray]:
    """(group, order): rows of `a` and then `b`, sorted; rows equal in all columns share a group number.

    `order` indexes the rows of `a` followed by those of `b`. Within a group rows follow the tie column.
    """
    columns = [np.concatenate(pair) for pair in zip(a, b, strict=True)]
    ties = [] if a_tie is None or b_tie is None else [np.concatenate((a_tie, b_tie))]
    order = np.lexsort((*ties, *reversed(columns)))
    return np.cumsum(begins(*(column[order] for column in columns))) - 1, order


def unequal(a: Columns, b: Columns) -> tuple[BoolArray, BoolArray]:
    """(n_a,) and (n_b,): True where a row has no equal among the rows of the other."""
    size = len(a[0])
    group, order = grouped(a, b)
    of_b = order >= size
    result = np.zeros(len(order), dtype=bool)
    for side in (~of_b, of_b):
        present = np.zeros(int(group.max(initial=-1)) + 1, dtype=bool)
        present[group[~side]] = True
        result[order[side]] = ~present[group[side]]
    return result[:size], result[size:]

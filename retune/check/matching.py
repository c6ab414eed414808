"""Which decoded note is which note of the original."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from retune.arrays import begins
from retune.check.receiver.pairing import rank_in_group
from retune.check.receiver.sounding import BoolArray, FloatArray, IntArray, Table

Columns = Sequence[NDArray[Any]]

SAME_NOTE_CENTS = 150.0  # nearer in pitch than a tone: one note, however numbered
_VELOCITY, _SETTINGS, _PROGRAM_AND_TRACK = 7, 22, 39  # bits they take in the columns of `NoteColumns`
_LEVELS = (
    (4, 0),
    (4, _SETTINGS),
    (4, _SETTINGS + _PROGRAM_AND_TRACK),
    (3, 0),
    (2, 0),
    (2, _VELOCITY),
)
"""How many columns of `NoteColumns` tell notes apart, and how many bits of the last of them do not."""


class NoteColumns(NamedTuple):
    """What a note is recognised by, most telling first."""

    onset: IntArray
    sound: IntArray  # key, velocity
    release: IntArray
    channel: IntArray  # whether it is percussion, program, track; volume, pan, expression, sustain
    cents: FloatArray  # at the onset; tells equal notes of two parts apart


def note_columns(notes: Table, cents: FloatArray, *, has_tracks: bool) -> NoteColumns:
    """The columns of HEARD_DTYPE rows."""
    drums, program, volume = (notes[name].astype(np.int64) for name in ("percussion", "program", "volume"))
    settings = volume << 15 | notes["pan"] << 8 | notes["expression"] << 1 | notes["sustain"]
    instrument = program << 32 | (notes["track"] if has_tracks else 0)
    return NoteColumns(
        onset=notes["onset_tick"],
        sound=notes["key"].astype(np.int64) << _VELOCITY | notes["velocity"],
        release=notes["release_tick"],
        channel=(drums << _PROGRAM_AND_TRACK | instrument) << _SETTINGS | settings,
        cents=cents,
    )


def match_notes(original: NoteColumns, decoded: NoteColumns) -> IntArray:
    """(n_decoded,) number of the original note each decoded note is, -1 for one too many.

    Notes equal in everything are paired first, then those equal in all but the controllers, in all but these,
    program and track, in all but whether they are drums too, in all but the release, last those that share only
    onset and key. Equal notes are taken in order of pitch.
    """
    place = np.full(len(decoded.onset), -1, dtype=np.int64)
    left = np.ones(len(original.onset), dtype=bool)
    for level in _LEVELS:
        mine, theirs = left.nonzero()[0], (place < 0).nonzero()[0]
        if not len(mine) or not len(theirs):
            break
        a, b = _pair_equal(_columns(original, mine, *level), _columns(decoded, theirs, *level))
        place[theirs[b]] = mine[a]
        left[mine[a]] = False
    return place


def _columns(notes: NoteColumns, rows: IntArray, count: int, silent_bits: int) -> Columns:
    told = (notes.onset, notes.sound, notes.release, notes.channel)[:count]
    columns = [column[rows] for column in told]
    columns[-1] >>= silent_bits
    return [*columns, notes.cents[rows]]


def match_by_pitch(original: NoteColumns, decoded: NoteColumns, place: IntArray) -> IntArray:
    """`place` with the notes left over paired by onset, velocity, release and pitch, whatever their keys.

    In a MIDI 2.0 clip the number of a note may be a mere index (M2-104-UM v1.1.2, 7.4.15.3), and which key it stands
    for is not always to be guessed from its pitch.
    """
    place = place.copy()
    taken = np.zeros(len(original.onset), dtype=bool)
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
    result: FloatArray = 100.0 * (notes.sound >> _VELOCITY) + notes.cents
    return result


def _pitch_columns(notes: NoteColumns, rows: IntArray) -> Columns:
    velocity = notes.sound[rows] & ((1 << _VELOCITY) - 1)
    return [notes.onset[rows], velocity, notes.release[rows], _pitch(notes)[rows]]


def _pair_equal(a: Columns, b: Columns) -> tuple[IntArray, IntArray]:
    """Rows of `a` and `b` equal in all columns but the last, paired in the order of the last."""
    group, order = grouped(a[:-1], b[:-1], a[-1], b[-1])
    of_b = order >= len(a[0])
    group_a, group_b = group[~of_b], group[of_b]
    keys_a = group_a * len(order) + rank_in_group(group_a)
    keys_b = group_b * len(order) + rank_in_group(group_b)
    k = keys_a.searchsorted(keys_b)
    found = keys_a.take(k, mode="clip") == keys_b
    return order[~of_b][k[found]], order[of_b][found] - len(a[0])


def grouped(
    a: Columns, b: Columns, a_tie: FloatArray | None = None, b_tie: FloatArray | None = None
) -> tuple[IntArray, IntArray]:
    """(group, order): rows of `a` and then `b`, sorted; rows equal in all columns share a group number.

    `order` indexes the rows of `a` followed by those of `b`. Within a group rows follow the tie column.
    """
    columns = [np.concatenate(pair) for pair in zip(a, b, strict=True)]
    ties = [] if a_tie is None or b_tie is None else [np.concatenate((a_tie, b_tie))]
    order = np.lexsort((*ties, *reversed(columns)))
    return np.cumsum(begins(*(column[order] for column in columns))) - 1, order


def same_rows(a: Columns, b: Columns) -> bool:
    """Whether the rows of two tables are the same one by one, which saves to look for them."""
    return len(a[0]) == len(b[0]) and all((x == y).all() for x, y in zip(a, b, strict=True))


def unequal(a: Columns, b: Columns) -> tuple[BoolArray, BoolArray]:
    """(n_a,) and (n_b,): True where a row has no equal among the rows of the other."""
    size = len(a[0])
    if same_rows(a, b):
        return np.zeros(size, dtype=bool), np.zeros(size, dtype=bool)
    group, order = grouped(a, b)
    of_b = order >= size
    result = np.zeros(len(order), dtype=bool)
    for side in (~of_b, of_b):
        present = np.zeros(int(group.max(initial=-1)) + 1, dtype=bool)
        present[group[~side]] = True
        result[order[side]] = ~present[group[side]]
    return result[:size], result[size:]

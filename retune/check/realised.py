"""How far the pitches of a decoded file are from those that were meant."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from retune.arrays import distinct
from retune.arrays import ends as ends_of
from retune.check.comparison import Comparison
from retune.check.receiver.sounding import BoolArray, FloatArray, IntArray, Table
from retune.constants import CHANNELS_PER_PORT
from retune.tuning.model import Tuning


class Realised(NamedTuple):
    """Distance of the decoded pitches from the tuning (plus the bends the original had itself) [cents]."""

    worst_cents: float = 0.0  # while keys are down
    mean_cents: float = 0.0  # the same, weighted by time
    worst_note: int = -1  # number in `Score.notes`
    worst_tick: int = -1
    worst_tail_cents: float = 0.0  # after the release, while a pedal holds the note


def realised(both: Comparison, tuning: Tuning) -> Realised:
    """Compare all matched notes with their offsets.

    Notes without offsets (percussion) are to keep their own pitch; what a channel plays that has become a drum kit, but
    has notes with offsets, is not judged.
    """
    score, heard = both.score, both.heard
    span = 1 + int(max(score.end_tick, both.decoded.end_tick, heard["end_tick"].max(initial=0)))
    meant = _Steps(tuning.offsets, "offset_cents", span)
    own = _Steps(both.original.curve, "cents", span) if both.original.has_own_tuning else None
    sounds = _Steps(heard, "cents", span)
    notes, starts, ends = _stretches(both, sounds, meant, own, span)
    error = sounds.at(notes, starts) - meant.at(notes, starts)
    if own is not None:
        error -= own.at(notes, starts)
    drums = both.original.notes["percussion"] & _on_tuned_channels(both, tuning)
    error = np.where(drums[notes], 0.0, np.abs(error))
    down = starts < score.notes["release_tick"][notes]
    length = np.where(down, ends - starts, 0)
    if not length.any():
        return Realised()
    worst = int(np.argmax(np.where(down, error, -1.0)))
    return Realised(
        worst_cents=float(error[worst]),
        mean_cents=float(error @ length / length.sum()),
        worst_note=int(notes[worst]),
        worst_tick=int(starts[worst]),
        worst_tail_cents=float(error[~down].max(initial=0.0)),
    )


def _on_tuned_channels(both: Comparison, tuning: Tuning) -> BoolArray:
    """(n_notes,) True for notes of channels that have notes with offsets."""
    notes = both.original.notes
    lanes = notes["port"].astype(np.int64) * CHANNELS_PER_PORT + notes["channel"]
    tuned: BoolArray = np.zeros(int(lanes.max(initial=0)) + 1, dtype=bool)
    tuned[lanes[tuning.offsets["note"]]] = True
    result: BoolArray = tuned[lanes]
    return result


class _Steps:
    """Rows of (note, start) → cents, asked at any (note, tick); 0 for notes without rows."""

    def __init__(self, rows: Table, value: str, span: int) -> None:
        self.keys: IntArray = rows["note"] * span + rows["start_tick"]
        self.notes: IntArray = rows["note"]
        self.cents: FloatArray = rows[value]
        self.span = span

    def at(self, notes: IntArray, ticks: IntArray) -> FloatArray:
        result = np.zeros(len(notes))
        if len(self.keys):
            k = np.searchsorted(self.keys, notes * self.span + ticks, side="right") - 1
            known = (k >= 0) & (self.notes[k] == notes)
            result[known] = self.cents[k[known]]
        return result


def _stretches(
    both: Comparison, sounds: _Steps, meant: _Steps, own: _Steps | None, span: int
) -> tuple[IntArray, IntArray, IntArray]:
    """(note, start, end) between any two steps of a note, from its onset to the end of its sound."""
    mine, before = both.pairs[0], both.before
    end = np.zeros(len(both.score.notes), dtype=np.int64)
    until = np.minimum(both.score.notes["sounding_end_tick"][mine], both.after["sounding_end_tick"])
    end[mine] = np.minimum(until, np.minimum(before["sounding_end_tick"], before["known_until_tick"]))
    steps = [sounds.keys, meant.keys, mine * span + both.score.notes["release_tick"][mine]]
    if own is not None:
        steps.append(own.keys)
    notes, starts = np.divmod(distinct(np.concatenate(steps)), span)
    ends = end[notes]
    inner = ~ends_of(notes)
    ends[inner] = np.minimum(starts[1:][inner[:-1]], ends[inner])
    inside = (ends > starts) & (starts >= both.score.notes["onset_tick"][notes])
    return notes[inside], starts[inside], ends[inside]

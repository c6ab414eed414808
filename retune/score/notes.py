"""Note events to the note table: releases paired, pedals heard, parts numbered."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retune.score.model import NOTE_DTYPE, IntArray
from retune.score.pairing import pair
from retune.score.pedals import NEVER, sounding_ends


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteTable:
    """The notes and, for each, what it takes to name its part."""

    notes: NDArray[np.void]  # NOTE_DTYPE; `part` is an index into `parts`
    parts: IntArray  # (n_parts, 3) track, port, channel, in this order
    unreleased: IntArray  # indices of notes without a release of their own
    misplaced: IntArray  # (n, 3) track and two events of it that must change places, see `Pairing.misplaced`


def read_notes(
    events: NDArray[np.void], controls: NDArray[np.void], track_ends: IntArray, end_tick: int
) -> NoteTable:
    """Build the note table from the note and controller events of all tracks, ordered by (track, event)."""
    voice = (events["track"] << 12) + (events["port"] << 4) + events["channel"]
    paired = pair(events, voice << 7 | events["key"])
    misplaced = np.array(paired.misplaced, dtype=np.int64).reshape(-1, 2)
    if len(misplaced):
        events = events.copy()
        events["velocity"][misplaced] = events["velocity"][misplaced[:, ::-1]]
        paired = pair(events, voice << 7 | events["key"])
    on, off, end = events[paired.on], paired.off, paired.end
    release = track_ends[on["track"]]
    release[end >= 0] = events["tick"][end[end >= 0]]
    event_ranks, control_ranks = _ranks(events, controls) if len(controls) else (None, None)
    if event_ranks is None or control_ranks is None:
        sounding = release
    else:
        release, sounding = sounding_ends(
            on=on,
            on_rank=event_ranks[paired.on],
            release=release,
            release_rank=np.where(end >= 0, event_ranks[end], NEVER),
            controls=controls,
            control_rank=control_ranks,
            end_tick=end_tick,
        )
    parts, part = np.unique(voice[paired.on], return_inverse=True)
    notes = np.empty(len(on), dtype=NOTE_DTYPE)
    notes["onset_tick"], notes["release_tick"], notes["sounding_end_tick"] = on["tick"], release, sounding
    notes["key"], notes["velocity"], notes["track"] = on["key"], on["velocity"], on["track"]
    notes["part"], notes["on_event"] = part, on["event"]
    notes["off_event"] = np.where(off >= 0, events["event"][off], -1)
    notes = notes[np.lexsort((notes["on_event"], notes["track"], notes["onset_tick"]))]
    return NoteTable(
        notes=notes,
        parts=np.stack([parts >> 12, parts >> 4 & 255, parts & 15], axis=1),
        unreleased=np.flatnonzero(notes["off_event"] < 0),
        misplaced=np.column_stack((events["track"][misplaced[:, 0]], events["event"][misplaced])),
    )


def _ranks(events: NDArray[np.void], controls: NDArray[np.void]) -> tuple[IntArray, IntArray]:
    """Places of note and controller events in the order of performance: tick, track, stored order."""
    both = np.concatenate((events, controls))
    order = np.lexsort((both["event"], both["track"], both["tick"]))
    rank = np.empty(len(both), dtype=np.int64)
    rank[order] = np.arange(len(both))
    return rank[: len(events)], rank[len(events) :]

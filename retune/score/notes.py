"""Note events to the note table: pedals heard, parts numbered."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retune.arrays import begins
from retune.score.model import NOTE_DTYPE, IntArray
from retune.score.pedals import sounding_ends
from retune.score.releases import NoteEvents, voice_of


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteTable:
    """The notes and, for each, what it takes to name its part."""

    notes: NDArray[np.void]  # NOTE_DTYPE; `part` is an index into `parts`
    parts: IntArray  # (n_parts, 3) track, port, channel, in this order


def read_notes(settled: NoteEvents, end_tick: int) -> NoteTable:
    """Build the note table from the note and controller events of all tracks."""
    events, controls, pairing = settled.columns.notes, settled.columns.controls, settled.pairing
    on, off = events[pairing.on], events[pairing.off]
    sounding = off["tick"]
    if len(controls):
        event_ranks, control_ranks = _ranks(events, controls)
        sounding = sounding_ends(
            on=on,
            on_rank=event_ranks[pairing.on],
            release=off["tick"],
            release_rank=event_ranks[pairing.off],
            controls=controls,
            control_rank=control_ranks,
            end_tick=end_tick,
        )
    voices = voice_of(on)  # in order, as notes are paired
    new = begins(voices)
    parts = voices[new]
    notes = np.empty(len(on), dtype=NOTE_DTYPE)
    notes["onset_tick"], notes["release_tick"], notes["sounding_end_tick"] = on["tick"], off["tick"], sounding
    notes["key"], notes["velocity"], notes["track"] = on["key"], on["velocity"], on["track"]
    notes["part"], notes["on_event"], notes["off_event"] = new.cumsum() - 1, on["event"], off["event"]
    return NoteTable(
        notes=notes[np.lexsort((notes["on_event"], notes["track"], notes["onset_tick"]))],
        parts=np.stack([parts >> 12, parts >> 4 & 255, parts & 15], axis=1),
    )


def _ranks(events: NDArray[np.void], controls: NDArray[np.void]) -> tuple[IntArray, IntArray]:
    """Places of note and controller events in the order of performance: tick, track, stored order."""
    both = np.concatenate((events, controls))
    order = np.lexsort((both["event"], both["track"], both["tick"]))
    rank = np.empty(len(both), dtype=np.int64)
    rank[order] = np.arange(len(both))
    return rank[: len(events)], rank[len(events) :]

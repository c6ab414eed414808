"""Note events to notes: releases paired first in, first out, and pedals heard.

MIDI 1.0 p. 10 and A-1: a note-on of velocity 0 is a release. A-4 leaves it to the receiver which of two equal
notes a release ends; the first one is taken, as the sender of two notes in a row means it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retune.score.model import NOTE_DTYPE, IntArray
from retune.score.pedals import NEVER, sounding_ends


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairing:
    """Which release ends which note: indices into the note events, -1 where a note is never released."""

    on: IntArray  # (n_notes,)
    off: IntArray  # (n_notes,)


def pair(events: NDArray[np.void], group: IntArray) -> Pairing:
    """Pair note-ons and releases of each group (track, port, channel, key) first in, first out.

    `events` are EVENT_DTYPE in stored order, `group` a number for each. Redundant releases pair with nothing.
    """
    if not len(events):
        return Pairing(on=np.zeros(0, dtype=np.int64), off=np.zeros(0, dtype=np.int64))
    order = np.argsort(group, kind="stable")
    is_on = events["velocity"][order] > 0
    first_of_group, rank_of_group = _group_starts(group[order])
    level = np.cumsum(np.where(is_on, 1, -1))
    level -= np.concatenate(([0], level))[first_of_group][rank_of_group]  # from 0 in each group
    # A release is redundant where the level reaches a new low below 0. One running minimum serves all groups,
    # as each group is shifted to lie below the one before.
    shift = rank_of_group * (2 * len(events) + 2)
    lowest = np.minimum.accumulate(np.minimum(level, 0) - shift) + shift
    before = np.concatenate(([0], lowest[:-1]))
    before[first_of_group] = 0
    is_off = ~is_on & (lowest >= before)
    on = np.flatnonzero(is_on)
    off = np.flatnonzero(is_off)
    partner = np.full(len(on), -1, dtype=np.int64)
    ons_before = np.concatenate(([0], np.cumsum(is_on)))[first_of_group]
    offs_before = np.concatenate(([0], np.cumsum(is_off)))[first_of_group]
    group_of_off = rank_of_group[off]
    partner[ons_before[group_of_off] + np.arange(len(off)) - offs_before[group_of_off]] = order[off]
    return Pairing(on=order[on], off=partner)


def _group_starts(sorted_groups: IntArray) -> tuple[IntArray, IntArray]:
    """First position of each group and, for every position, the rank of its group."""
    new = np.concatenate(([True], sorted_groups[1:] != sorted_groups[:-1]))
    return np.flatnonzero(new), np.cumsum(new) - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteTable:
    """The notes and, for each, what it takes to name its part."""

    notes: NDArray[np.void]  # NOTE_DTYPE; `part` is an index into `parts`
    parts: IntArray  # (n_parts, 3) track, port, channel, in this order
    unreleased: IntArray  # indices of notes the file never releases


def read_notes(
    events: NDArray[np.void], controls: NDArray[np.void], track_ends: IntArray, end_tick: int
) -> NoteTable:
    """Build the note table from the note and controller events of all tracks, ordered by (track, event)."""
    voice = (events["track"] << 12) + (events["port"] << 4) + events["channel"]
    paired = pair(events, voice << 7 | events["key"])
    on, off = events[paired.on], paired.off
    release = np.where(off >= 0, events["tick"][off], track_ends[on["track"]])
    event_ranks, control_ranks = _ranks(events, controls) if len(controls) else (None, None)
    if event_ranks is None or control_ranks is None:
        sounding = release
    else:
        release, sounding = sounding_ends(
            on=on,
            on_rank=event_ranks[paired.on],
            release=release,
            release_rank=np.where(off >= 0, event_ranks[off], NEVER),
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
    )


def _ranks(events: NDArray[np.void], controls: NDArray[np.void]) -> tuple[IntArray, IntArray]:
    """Places of note and controller events in the order of performance: tick, track, stored order."""
    both = np.concatenate((events, controls))
    order = np.lexsort((both["event"], both["track"], both["tick"]))
    rank = np.empty(len(both), dtype=np.int64)
    rank[order] = np.arange(len(both))
    return rank[: len(events)], rank[len(events) :]

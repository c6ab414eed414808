"""Which release ends which note.

MIDI 1.0 p. 10 and A-1: a note-on of velocity 0 is a release. A-4 leaves it to the receiver which of two equal
notes a release ends; the first one is taken, as the sender of two notes in a row means it. That rule holds while
every note has its release. Where one is missing, first in, first out would hand every later release of the key to
the note before, and all of them would sound on to the next; there a release ends all open notes of the key, as it
does in most receivers (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from retune.arrays import begins, distinct, ends
from retune.score.model import IntArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairing:
    """Notes and the releases that end them, as indices into the note events, in the order of their groups."""

    on: IntArray  # (n_notes,)
    off: IntArray  # (n_notes,) the release that belongs to the note; -1 if it has none of its own
    end: IntArray  # (n_notes,) the release that ends the note; -1 if none does
    misplaced: list[tuple[int, int]] = field(default_factory=list)
    """(release, note-on) of notes of no length whose release stands before them, so that they would never end."""


def pair(events: NDArray[np.void], group: IntArray) -> Pairing:
    """Pair note-ons and releases of each group (track, port, channel, key).

    `events` are EVENT_DTYPE in stored order, `group` a number for each. Redundant releases pair with nothing.
    """
    if not len(events):
        nothing = np.zeros(0, dtype=np.int64)
        return Pairing(on=nothing, off=nothing, end=nothing)
    order = group.argsort(kind="stable")
    is_on = events["velocity"][order] > 0
    open_notes = np.where(is_on, 1, -1).cumsum()
    if (open_notes >= 0).all() and not open_notes[
        ends(group[order])
    ].any():  # nothing missing, nothing redundant
        on, off = order[is_on], order[~is_on]
        return Pairing(on=on, off=off, end=off)
    first_of_group, rank_of_group = _group_starts(group[order])
    is_off = ~is_on & ~_redundant(is_on, first_of_group, rank_of_group)
    on, off = np.flatnonzero(is_on), np.flatnonzero(is_off)
    note_of_off = _rank_within(is_off, first_of_group, rank_of_group)
    note_of_off += np.concatenate(([0], np.cumsum(is_on)))[first_of_group][rank_of_group[off]]
    partner = np.full(len(on), -1, dtype=np.int64)
    partner[note_of_off] = off
    end = partner.copy()
    misplaced: list[tuple[int, int]] = []
    note_at = np.cumsum(is_on) - 1
    bounds = np.append(first_of_group, len(order))
    for rank in distinct(rank_of_group[on[partner < 0]]).tolist():
        places = range(int(bounds[rank]), int(bounds[rank + 1]))
        ticks = events["tick"][order[places.start : places.stop]].tolist()
        group_is_on = is_on[places.start : places.stop].tolist()
        swaps, missing_from = _misplaced(group_is_on, ticks)
        misplaced += [(int(order[places[a]]), int(order[places[b]])) for a, b in swaps]
        _end_together(places[missing_from:], group_is_on[missing_from:], note_at, partner, end)
    order = np.append(order, -1)
    return Pairing(on=order[on], off=order[partner], end=order[end], misplaced=misplaced)


def _group_starts(sorted_groups: IntArray) -> tuple[IntArray, IntArray]:
    """First position of each group and, for every position, the rank of its group."""
    new = begins(sorted_groups)
    return np.flatnonzero(new), np.cumsum(new) - 1


def _redundant(is_on: NDArray[np.bool_], first: IntArray, rank: IntArray) -> NDArray[np.bool_]:
    """Tell the releases that come while no note of their group is open.

    They are where the number of open notes, counted down by every release, reaches a new low below 0. One running
    minimum serves all groups, as each group is shifted to lie below the one before.
    """
    level = np.cumsum(np.where(is_on, 1, -1))
    level -= np.concatenate(([0], level))[first][rank]  # from 0 in each group
    shift = rank * (2 * len(level) + 2)
    lowest = np.minimum.accumulate(np.minimum(level, 0) - shift) + shift
    before = np.concatenate(([0], lowest[:-1]))
    before[first] = 0
    return lowest < before


def _rank_within(chosen: NDArray[np.bool_], first: IntArray, rank: IntArray) -> IntArray:
    """Number of each chosen position among the chosen of its group, from 0."""
    before = np.concatenate(([0], np.cumsum(chosen)))[first]
    result: IntArray = np.arange(int(chosen.sum())) - before[rank[chosen]]
    return result


def _misplaced(is_on: list[bool], ticks: list[int]) -> tuple[list[tuple[int, int]], int]:
    """Releases just before a note-on of their tick that end nothing, and where the last stretch of open notes begins.

    Some writers put the release of a note of no length (a grace note) before it.
    """
    swaps: list[tuple[int, int]] = []
    spare: list[int] = []
    open_notes = begin = 0
    for place, on in enumerate(is_on):
        if spare and ticks[spare[-1]] != ticks[place]:
            spare.clear()
        if on and spare:
            swaps.append((spare.pop(0), place))
            continue
        if not open_notes:
            begin = place
        if on:
            open_notes += 1
        elif open_notes:
            open_notes -= 1
        else:
            spare.append(place)
    return swaps, begin


def _end_together(
    places: range, is_on: list[bool], note_at: IntArray, partner: IntArray, end: IntArray
) -> None:
    """Let each release of a stretch end all notes open at it; the first of them owns it."""
    waiting: list[int] = []
    for place, on in zip(places, is_on, strict=True):
        if on:
            waiting.append(int(note_at[place]))
            partner[waiting[-1]] = end[waiting[-1]] = -1
        elif waiting:
            partner[waiting[0]] = place
            end[waiting] = place
            waiting.clear()

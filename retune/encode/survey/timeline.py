"""One order for all events of a score, and what stands between the notes.

Events of all tracks are ranked in playing order: by tick, then track, then place in the track. Ranks are
even; the odd number before or after one is the place of something inserted there. Comparing ranks decides
what "already released" means when several things happen on one tick.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate, islice
from operator import attrgetter
from typing import NamedTuple

import mido
import numpy as np
from numpy.typing import NDArray

from retune.arrays import distinct
from retune.constants import (
    CC_ALL_NOTES_OFF,
    CC_ALL_SOUND_OFF,
    CC_RESET_ALL_CONTROLLERS,
    CC_SOSTENUTO,
    CC_SUSTAIN,
    PEDAL_DOWN,
)
from retune.encode.messages import is_reset
from retune.score.model import IntArray, Score

_LIFTS_HOLD = frozenset((CC_ALL_SOUND_OFF, CC_RESET_ALL_CONTROLLERS, CC_ALL_NOTES_OFF))


@dataclass(slots=True, eq=False)  # not frozen: it is made for every event, and twice as fast so
class OtherEvent:
    """A channel message that is not part of a note, or a sysex that resets a device (`channel` -1)."""

    rank: int
    tick: int
    track: int
    index: int
    port: int
    channel: int
    message: mido.Message


class Timeline(NamedTuple):
    """Ranks of the events of a score. Note arrays are (n_notes,); ranks count in twos."""

    sorted_ticks: IntArray  # (n_events,) ticks of all events in playing order
    rank: IntArray  # (n_events,) of the events of track 0, then track 1, …
    first_of_track: IntArray  # (n_tracks + 1,) where each track starts in `rank`
    on: IntArray  # rank of the note-on
    off: IntArray  # rank of the note-off
    end: IntArray  # rank of what ends the sound: the note-off or the later pedal lift
    others: tuple[OtherEvent, ...]  # in playing order

    def insertion_ranks(self, score: Score, tracks: IntArray, ticks: IntArray) -> tuple[IntArray, IntArray]:
        """Where things that happen in `tracks` at `ticks` go: (position in the track, odd rank), each (n,).

        Before the first note-on of the tick, so that it follows the note-offs stored before; behind
        everything else if the track has no note-on there, and behind what the tracks before it have there.
        """
        positions, ranks = np.empty((2, len(ticks)), np.int64)
        ahead = np.empty(len(self.rank), np.int64)  # the events in playing order: tick, and then track
        width = len(score.tracks)
        for number, (base, track) in enumerate(zip(self.first_of_track.tolist(), score.tracks, strict=False)):
            ahead[self.rank[base : base + len(track.ticks)] // 2] = track.ticks * width + number
        notes = score.notes
        for number in distinct(tracks).tolist():
            here = tracks == number
            at, own = ticks[here], score.tracks[number].ticks
            left, right = np.searchsorted(own, at, side="left"), np.searchsorted(own, at, side="right")
            position = right.copy()
            ons = np.sort(notes["on_event"][notes["track"] == number])
            if len(ons):
                k = np.minimum(np.searchsorted(ons, left), len(ons) - 1)
                found = (ons[k] >= left) & (ons[k] < right)
                position[found] = ons[k][found]
            rank = 2 * np.searchsorted(ahead, at * width + number, side="left") - 1
            own_rank = self.rank[self.first_of_track[number] : self.first_of_track[number + 1]]
            before, behind = position < right, (position == right) & (right > left)
            rank[before] = own_rank[position[before]] - 1
            rank[behind] = own_rank[right[behind] - 1] + 1
            positions[here], ranks[here] = position, rank
        return positions, ranks


def read_timeline(score: Score) -> Timeline:
    """Rank the events of a score and gather those that are not notes."""
    first = np.array([0, *accumulate(len(track.ticks) for track in score.tracks)], np.int64)
    ticks = np.concatenate([track.ticks for track in score.tracks] or [first[:0]])
    order = ticks.argsort(kind="stable")
    rank = np.empty(len(ticks), np.int64)
    rank[order] = np.arange(0, 2 * len(ticks), 2)
    notes = score.notes
    base = first[notes["track"]]
    starts, stops = base + notes["on_event"], base + notes["off_event"]
    is_other = np.ones(len(ticks), bool)
    is_other[starts] = is_other[stops] = False
    others = _other_events(score, is_other.nonzero()[0], ticks, rank, first)
    on, off = rank[starts], rank[stops]
    sorted_ticks, end = ticks[order], off
    held = notes["sounding_end_tick"] > notes["release_tick"]
    if held.any():
        end = off.copy()
        end[held] = _lift_ranks(score, others, sorted_ticks, held)
    return Timeline(sorted_ticks, rank, first, on, off, end, others)


def _other_events(
    score: Score, places: IntArray, ticks: IntArray, rank: IntArray, first: IntArray
) -> tuple[OtherEvent, ...]:
    """The events at some places of all tracks put together, those that `OtherEvent` speaks of."""
    found = []
    bounds = np.searchsorted(places, first).tolist()
    rows = zip(places.tolist(), ticks[places].tolist(), rank[places].tolist(), strict=True)
    for t, (track, base) in enumerate(zip(score.tracks, first.tolist(), strict=False)):
        port = 0
        for place, tick, own in islice(rows, bounds[t + 1] - bounds[t]):
            message = track.messages[place - base]
            if message.is_meta:
                if message.type == "midi_port":
                    port = message.port
            elif message.type == "sysex":
                if is_reset(message):
                    found.append(OtherEvent(own, tick, t, place - base, port, -1, message))
            elif (channel := message.__dict__.get("channel", -1)) >= 0:
                found.append(OtherEvent(own, tick, t, place - base, port, channel, message))
    found.sort(key=attrgetter("rank"))
    return tuple(found)


def _lift_ranks(
    score: Score, others: tuple[OtherEvent, ...], sorted_ticks: IntArray, held: NDArray[np.bool_]
) -> IntArray:
    """Ranks of the pedal lifts that end the notes marked in `held`."""
    lifts: dict[tuple[int, int, int], int] = {}
    for event in others:
        if event.channel >= 0 and event.message.type == "control_change":
            number, value = event.message.control, event.message.value
            lifted = number in (CC_SUSTAIN, CC_SOSTENUTO) and value < PEDAL_DOWN
            if lifted or number in _LIFTS_HOLD:
                lifts.setdefault((event.port, event.channel, event.tick), event.rank)
    ends = score.notes["sounding_end_tick"][held]
    ranks: IntArray = 2 * np.searchsorted(sorted_ticks, ends, side="right") - 1
    parts = score.parts
    for i, (part, tick) in enumerate(zip(score.notes["part"][held].tolist(), ends.tolist(), strict=True)):
        ranks[i] = lifts.get((parts[part].port, parts[part].channel, tick), int(ranks[i]))
    return ranks

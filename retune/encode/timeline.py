"""One order for all events of a score, and what stands between the notes.

Events of all tracks are ranked in playing order: by tick, then track, then place in the track. Ranks are
even; the odd number before or after one is the place of something inserted there. Comparing ranks decides
what "already released" means when several things happen on one tick.
"""

from __future__ import annotations

from dataclasses import dataclass
from operator import attrgetter
from typing import NamedTuple

import mido
import numpy as np
from numpy.typing import NDArray

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
    sorted_keys: IntArray  # (n_events,) the same as tick · n_tracks + track
    rank: IntArray  # (n_events,) of the events of track 0, then track 1, …
    first_of_track: IntArray  # (n_tracks + 1,) where each track starts in `rank`
    on: IntArray  # rank of the note-on
    off: IntArray  # rank of the note-off
    end: IntArray  # rank of what ends the sound: the note-off or the later pedal lift
    others: tuple[OtherEvent, ...]  # in playing order

    def insertion_ranks(self, score: Score, track: int, ticks: IntArray) -> tuple[IntArray, IntArray]:
        """Where something that happens at `ticks` in a track goes: (position in the track, odd rank).

        Before the first note-on of the tick, so that it follows the note-offs stored before; behind
        everything else if the track has no note-on there, and behind what the tracks before it have there.
        """
        own = score.tracks[track].ticks
        left = np.searchsorted(own, ticks, side="left")
        right = np.searchsorted(own, ticks, side="right")
        notes = score.notes
        ons = np.sort(notes["on_event"][notes["track"] == track])
        position = right.copy()
        if len(ons):
            k = np.minimum(np.searchsorted(ons, left), len(ons) - 1)
            found = (ons[k] >= left) & (ons[k] < right)
            position[found] = ons[k][found]
        base = int(self.first_of_track[track])
        n_tracks = len(self.first_of_track) - 1
        ranks = 2 * np.searchsorted(self.sorted_keys, ticks * n_tracks + track, side="left") - 1
        before, behind = position < right, (position == right) & (right > left)
        ranks[before] = self.rank[base + position[before]] - 1
        ranks[behind] = self.rank[base + right[behind] - 1] + 1
        return position, ranks


def read_timeline(score: Score) -> Timeline:
    """Rank the events of a score and gather those that are not notes."""
    lengths = [len(track.ticks) for track in score.tracks]
    first = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
    ticks = np.concatenate([track.ticks for track in score.tracks]) if lengths else np.zeros(0, np.int64)
    order = np.argsort(ticks, kind="stable")
    rank = np.empty(len(ticks), np.int64)
    rank[order] = 2 * np.arange(len(ticks))
    notes = score.notes
    base = first[notes["track"]]
    on = rank[base + notes["on_event"]]
    sorted_ticks = ticks[order]
    sorted_keys = sorted_ticks * len(lengths) + np.repeat(np.arange(len(lengths)), lengths)[order]
    off = 2 * np.searchsorted(sorted_ticks, notes["release_tick"], side="right") - 1
    closed = notes["off_event"] >= 0
    off[closed] = rank[(base + notes["off_event"])[closed]]
    others = _other_events(score, rank, first)
    end = off.copy()
    held = notes["sounding_end_tick"] > notes["release_tick"]
    if held.any():
        end[held] = _lift_ranks(score, others, sorted_ticks, held)
    return Timeline(sorted_ticks, sorted_keys, rank, first, on, off, end, others)


def _other_events(score: Score, rank: IntArray, first: IntArray) -> tuple[OtherEvent, ...]:
    mask = np.ones(len(rank), bool)
    notes = score.notes
    mask[first[notes["track"]] + notes["on_event"]] = False
    closed = notes["off_event"] >= 0
    mask[(first[notes["track"]] + notes["off_event"])[closed]] = False
    found = []
    for t, track in enumerate(score.tracks):
        port = 0
        start = int(first[t])
        indices = np.nonzero(mask[start : int(first[t + 1])])[0]
        ticks, ranks = track.ticks[indices].tolist(), rank[start + indices].tolist()
        for index, tick, place in zip(indices.tolist(), ticks, ranks, strict=True):
            message = track.messages[index]
            if message.is_meta:
                if message.type == "midi_port":
                    port = message.port
            elif message.type == "sysex":
                if is_reset(message):
                    found.append(OtherEvent(place, tick, t, index, port, -1, message))
            elif (channel := message.__dict__.get("channel", -1)) >= 0:
                found.append(OtherEvent(place, tick, t, index, port, channel, message))
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

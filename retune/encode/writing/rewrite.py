"""A file being rewritten: messages put in, put in place of others, or moved to a track of their own."""

from __future__ import annotations

from array import array
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import partial
from itertools import pairwise
from operator import itemgetter
from typing import NamedTuple

import mido
import numpy as np

from retune.encode.model import EncodedFile
from retune.score import moved, write_tracks
from retune.score.model import IntArray, Score, Track


class Place(NamedTuple):
    """Where a message goes: before the event at `position` of a track of the input."""

    tick: int
    track: int
    position: int


@dataclass(slots=True)
class FileRewrite:
    """All tracks of a file being rewritten, and the tracks that further ports need; the input is left alone.

    Insertions at one position and tick keep the order in which they were made, and stand before the event
    that had that position in the input. A message of None is left out.
    """

    score: Score
    messages: list[mido.Message | None] = field(
        default_factory=list
    )  # of all tracks, None for the end of each
    first: list[int] = field(default_factory=list)  # where each track starts in `messages`
    _places: array[int] = field(default_factory=partial(array, "q"))  # in `messages`
    _ticks: array[int] = field(default_factory=partial(array, "q"))
    _inserted: list[mido.Message] = field(default_factory=list)
    _further: dict[tuple[int, int], list[tuple[int, mido.Message]]] = field(default_factory=dict)
    _copies: dict[tuple[int, int], mido.Message] = field(default_factory=dict)  # by message and channel

    def __post_init__(self) -> None:
        for track in self.score.tracks:
            self.first.append(len(self.messages))
            self.messages += track.messages
            self.messages.append(None)

    def insert(self, message: mido.Message, place: Place, port: int = -1) -> None:
        """Put a message in; on a further port (`port` >= 0) into the track that goes with the one named."""
        if port < 0:
            self._places.append(self.first[place.track] + place.position)
            self._ticks.append(place.tick)
            self._inserted.append(message)
        else:
            self._further.setdefault((port, place.track), []).append((place.tick, message))

    def moved(self, message: mido.Message, channel: int) -> mido.Message:
        """A message of the input on another channel: one copy, however often it is asked for."""
        copy = self._copies.get((id(message), channel))
        if copy is None:
            copy = self._copies[id(message), channel] = moved(message, channel)
        return copy

    def insert_all(self, messages: Iterable[mido.Message], place: Place, port: int = -1) -> None:
        """Put messages in, in order."""
        for message in messages:
            self.insert(message, place, port)

    def replace(self, track: int, index: int, message: mido.Message, port: int = -1) -> None:
        """Put a message in place of one of the input; on a further port it moves to that port's track."""
        if port < 0:
            self.messages[self.first[track] + index] = message
        else:
            self.leave_out(track, index)
            tick = int(self.score.tracks[track].ticks[index])
            self._further.setdefault((port, track), []).append((tick, message))

    def leave_out(self, track: int, index: int) -> None:
        """Leave out a message of the input."""
        self.messages[self.first[track] + index] = None

    def encoded(self) -> EncodedFile:
        """The bytes; further ports come behind the tracks of the input, in their order."""
        tracks = self._tracks()
        for (port, number), events in sorted(self._further.items(), key=itemgetter(0)):
            tracks.append(_further_track(self.score.tracks[number], port, events))
        format_ = 1 if len(tracks) > 1 else self.score.format
        return EncodedFile(data=write_tracks(format=format_, division=self.score.division, tracks=tracks))

    def _tracks(self) -> list[Track]:
        """The tracks of the input, rewritten."""
        places, at = np.array(self._places, np.int64), np.array(self._ticks, np.int64)
        order = np.lexsort((at, places))
        places = places[order]
        ticks = np.concatenate(
            [part for track in self.score.tracks for part in (track.ticks, [track.end_tick])]
        )
        ticks = _inserted(ticks, places, at[order])
        messages: list[mido.Message | None] = []
        done = 0
        for number, place in zip(order.tolist(), places.tolist(), strict=True):
            if place > done:
                messages += self.messages[done:place]
                done = place
            messages.append(self._inserted[number])
        messages += self.messages[done:]
        bounds = [*(self.first + np.searchsorted(places, self.first)).tolist(), len(messages)]
        return [
            _track(track.name, ticks[start : end - 1], messages[start : end - 1], track.end_tick)
            for track, (start, end) in zip(self.score.tracks, pairwise(bounds), strict=True)
        ]


def _track(name: str, ticks: IntArray, messages: list[mido.Message | None], end_tick: int) -> Track:
    """A track without the messages that are None, and long enough for the others."""
    kept = [message is not None for message in messages]
    if not all(kept):
        ticks, messages = ticks[kept], [message for message in messages if message is not None]
    end_tick = max(end_tick, int(ticks[-1])) if messages else end_tick
    return Track(name=name, ticks=ticks, messages=messages, end_tick=end_tick)


def _inserted(ticks: IntArray, positions: IntArray, more: IntArray) -> IntArray:
    """Ticks with more put in before ascending positions (`np.insert` in a fifth of its time)."""
    places = positions + np.arange(len(more))
    result = np.empty(len(ticks) + len(more), dtype=np.int64)
    old = np.ones(len(result), dtype=bool)
    old[places] = False
    result[places], result[old] = more, ticks
    return result


def _further_track(twin: Track, port: int, events: list[tuple[int, mido.Message]]) -> Track:
    head: list[mido.Message] = [message for message in twin.messages if message.type == "track_name"][:1]
    head.append(mido.MetaMessage("midi_port", port=port))
    ticks = np.array([0] * len(head) + [tick for tick, _ in events], np.int64)
    return _track(twin.name, ticks, head + [message for _, message in events], twin.end_tick)

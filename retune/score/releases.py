"""Releases that stand in the wrong place or are missing are mended in the messages themselves.

So every note of a score has a release of its own, and whatever is written from it leaves no note hanging.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from dataclasses import dataclass
from typing import Literal

import mido
import numpy as np
from numpy.typing import NDArray

from retune.constants import CC_ALL_NOTES_OFF, CC_ALL_SOUND_OFF
from retune.score.columns import Columns, port_at, read_columns
from retune.score.model import IntArray
from retune.score.pairing import Pairing, pair

RELEASE_VELOCITY = 64  # MIDI 1.0 A-1: of a release that has none


@dataclass(frozen=True, slots=True)
class Mend:
    """What was mended in one track: the tick of the first place and the number of places."""

    code: str
    track: int
    tick: int
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteEvents:
    """Note events of all tracks, ordered by (track, event), and how they pair; every note has its release."""

    events: NDArray[np.void]  # EVENT_DTYPE
    pairing: Pairing
    mends: list[Mend]


def settle_releases(tracks: list[list[mido.Message]], columns: list[Columns]) -> NoteEvents:
    """Pair the notes of all tracks; where that needs it, change `tracks` and `columns`.

    `tracks` hold the end-of-track event last.
    """
    mends: list[Mend] = []
    events, pairing = _pair(columns)
    if pairing.misplaced:
        mends += _put_in_order(tracks, columns, events, pairing)
        events, pairing = _pair(columns)
    if np.any(pairing.off < 0):
        mends += _put_in(tracks, columns, events, pairing)
        events, pairing = _pair(columns)
    return NoteEvents(events=events, pairing=pairing, mends=mends)


def _pair(columns: list[Columns]) -> tuple[NDArray[np.void], Pairing]:
    events = np.concatenate([of_track.notes for of_track in columns])
    return events, pair(events, voice_of(events) << 7 | events["key"])


def voice_of(events: NDArray[np.void]) -> IntArray:
    """One number for each track, port and channel: track << 12 | port << 4 | channel."""
    result: IntArray = events["track"].astype(np.int64) << 12 | events["port"] << 4 | events["channel"]
    return result


def _put_in_order(
    tracks: list[list[mido.Message]], columns: list[Columns], events: NDArray[np.void], pairing: Pairing
) -> list[Mend]:
    """Let releases that stand before their notes of no length change places with them."""
    places: defaultdict[int, list[tuple[int, int]]] = defaultdict(list)
    for release, onset in pairing.misplaced:
        places[int(events["track"][release])].append(
            (int(events["event"][release]), int(events["event"][onset]))
        )
    mends = []
    for track, pairs in places.items():
        messages, ticks = tracks[track], columns[track].ticks
        for release, onset in pairs:
            messages[release], messages[onset] = messages[onset], messages[release]
        columns[track] = read_columns(track, messages, ticks)
        first = min(release for release, _ in pairs)
        mends.append(Mend("release-first", track, int(ticks[first]), len(pairs)))
    return mends


def _put_in(
    tracks: list[list[mido.Message]], columns: list[Columns], events: NDArray[np.void], pairing: Pairing
) -> list[Mend]:
    """Put in the releases that are missing."""
    endings = _Endings(columns, events)
    places: defaultdict[int, list[tuple[int, int, mido.Message]]] = defaultdict(list)
    first: dict[int, int] = {}
    for on, end in zip(
        pairing.on[pairing.off < 0].tolist(), pairing.end[pairing.off < 0].tolist(), strict=True
    ):
        track = int(events["track"][on])
        release = mido.Message(
            "note_off",
            skip_checks=True,
            channel=int(events["channel"][on]),
            note=int(events["key"][on]),
            velocity=RELEASE_VELOCITY,
        )
        places[track].append((*endings.find(on, end), release))
        first[track] = min(first.get(track, on), on)
    mends = []
    for track, found in places.items():
        found.sort(key=lambda entry: entry[:2])
        at = [place for place, _, _ in found]
        messages: list[mido.Message] = []
        before = 0
        for place, _, release in found:
            messages += tracks[track][before:place]
            messages.append(release)
            before = place
        messages += tracks[track][before:]
        ticks = np.insert(columns[track].ticks, at, [tick for _, tick, _ in found])
        tracks[track], columns[track] = messages, read_columns(track, messages, ticks)
        mends.append(Mend("unreleased", track, int(events["tick"][first[track]]), len(found)))
    return mends


class _Endings:
    """Where notes without a release of their own end."""

    def __init__(self, columns: list[Columns], events: NDArray[np.void]) -> None:
        self._columns, self._events = columns, events
        self._all_off: defaultdict[tuple[int, int], list[tuple[int, int, int]]] = defaultdict(list)
        for of_track in columns:
            number = of_track.controls["key"]
            for row in of_track.controls[(number == CC_ALL_NOTES_OFF) | (number == CC_ALL_SOUND_OFF)]:
                channel = int(row["port"]), int(row["channel"])
                self._all_off[channel].append((int(row["tick"]), int(row["track"]), int(row["event"])))
        for moments in self._all_off.values():
            moments.sort()

    def find(self, on: int, end: int) -> tuple[int, int]:
        """Index in the track's events before which a release belongs, and its tick.

        `on` is the note-on and `end` the release of another note that ends this one too (-1: none), both as
        indices into the note events. Without one, All Notes Off or All Sound Off of the channel ends the note, or
        its track.
        """
        if end >= 0:
            return int(self._events["event"][end]) + 1, int(self._events["tick"][end])
        row = self._events[on]
        columns = self._columns[int(row["track"])]
        place, tick = self._all_off_after(row, columns.ticks)
        if port_at(columns.ports, np.array(place - 1)) != row["port"]:  # the note ends where its port is left
            place = int(columns.ports[0][np.searchsorted(columns.ports[0], row["event"])])
            tick = int(columns.ticks[place])
        return place, tick

    def _all_off_after(self, on: np.void, ticks: IntArray) -> tuple[int, int]:
        """Place and tick of the first All Notes or All Sound Off after a note-on, or of the end of its track."""
        track = int(on["track"])
        all_off = self._all_off.get((int(on["port"]), int(on["channel"])), [])
        at = bisect_right(all_off, (int(on["tick"]), track, int(on["event"])))
        end = len(ticks) - 1, int(ticks[-1])
        if at == len(all_off) or all_off[at][0] > end[1]:
            return end
        tick, track_of_control, event = all_off[at]
        if track_of_control == track:
            return event, tick  # before All Sound Off, which then ends what a pedal holds
        side: Literal["left", "right"] = "left" if track_of_control < track else "right"
        return min(int(np.searchsorted(ticks, tick, side=side)), end[0]), tick

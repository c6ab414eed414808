"""Releases that stand in the wrong place or are missing are mended in the tracks themselves.

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
from retune.score.columns import Columns, read_columns
from retune.score.model import IntArray
from retune.score.pairing import Pairing, pair
from retune.score.parse import Parsed

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
    """All events, and how the notes among them pair; every note has its release."""

    parsed: Parsed
    columns: Columns
    pairing: Pairing  # of `columns.notes`
    mends: list[Mend]


def settle_releases(parsed: Parsed) -> NoteEvents:
    """Pair the notes of all tracks, mended where that needs it. The tracks hold the end-of-track event last."""
    mends: list[Mend] = []
    columns, pairing = _pair(parsed)
    if pairing.misplaced:
        parsed, found = _put_in_order(parsed, columns, pairing)
        mends += found
        columns, pairing = _pair(parsed)
    if np.any(pairing.off < 0):
        parsed, found = _put_in(parsed, columns, pairing)
        mends += found
        columns, pairing = _pair(parsed)
    return NoteEvents(parsed=parsed, columns=columns, pairing=pairing, mends=mends)


def _pair(parsed: Parsed) -> tuple[Columns, Pairing]:
    columns = read_columns(parsed)
    return columns, pair(columns.notes, voice_of(columns.notes) << 7 | columns.notes["key"])


def voice_of(events: NDArray[np.void]) -> IntArray:
    """One number for each track, port and channel: track << 12 | port << 4 | channel."""
    result: IntArray = events["track"].astype(np.int64) << 12 | events["port"] << 4 | events["channel"]
    return result


def _put_in_order(parsed: Parsed, columns: Columns, pairing: Pairing) -> tuple[Parsed, list[Mend]]:
    """Let releases that stand before their notes of no length change places with them."""
    events, tracks = columns.notes, list(parsed.tracks)
    places: defaultdict[int, list[tuple[int, int]]] = defaultdict(list)
    for release, onset in pairing.misplaced:
        places[int(events["track"][release])].append(
            (int(events["event"][release]), int(events["event"][onset]))
        )
    mends = []
    for track, pairs in places.items():
        ticks, which = tracks[track][0], tracks[track][1].copy()
        for release, onset in pairs:
            which[release], which[onset] = which[onset], which[release]
        tracks[track] = ticks, which
        first = min(release for release, _ in pairs)
        mends.append(Mend("release-first", track, int(ticks[first]), len(pairs)))
    return Parsed(parsed.messages, tracks), mends


def _put_in(parsed: Parsed, columns: Columns, pairing: Pairing) -> tuple[Parsed, list[Mend]]:
    """Put in the releases that are missing."""
    events, messages, tracks = columns.notes, list(parsed.messages), list(parsed.tracks)
    endings = _Endings(columns)
    places: defaultdict[int, list[tuple[int, int, int]]] = defaultdict(list)  # place, tick, message
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
        places[track].append((*endings.find(on, end), len(messages)))
        messages.append(release)
        first[track] = min(first.get(track, on), on)
    mends = []
    for track, found in places.items():
        found.sort(key=lambda entry: entry[:2])
        at, tick, new = zip(*found, strict=True)
        ticks, which = tracks[track]
        tracks[track] = np.insert(ticks, at, tick), np.insert(which, at, new)
        mends.append(Mend("unreleased", track, int(events["tick"][first[track]]), len(found)))
    return Parsed(messages, tracks), mends


class _Endings:
    """Where notes without a release of their own end."""

    def __init__(self, columns: Columns) -> None:
        self._columns = columns
        self._all_off: defaultdict[tuple[int, int], list[tuple[int, int, int]]] = defaultdict(list)
        number = columns.controls["key"]
        for row in columns.controls[(number == CC_ALL_NOTES_OFF) | (number == CC_ALL_SOUND_OFF)]:
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
        events, track = self._columns.notes, int(self._columns.notes["track"][on])
        if end >= 0:
            return int(events["event"][end]) + 1, int(events["tick"][end])
        first, after = self._columns.first[track : track + 2].tolist()
        place, tick = self._all_off_after(events[on], self._columns.ticks[first:after])
        sounds, ports = int(events["event"][on]), self._columns.ports[first:after]
        left = np.flatnonzero(ports[sounds:place] != ports[sounds])
        if len(left):  # the note ends where its port is left
            place = sounds + int(left[0])
            tick = int(self._columns.ticks[first + place])
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

"""Meta events and system exclusive messages of a file as columns.

There may be a million of them, most of them equal: each different content is held once.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from retune.arrays import begins
from retune.check.receiver.pairing import rank_in_group
from retune.score.model import IntArray

PACKET, SYSTEM, SYSEX = "sysex packet", "system message", "sysex"
"""Kinds of content beside the types of meta events: an F0 or F7 event that is no whole sysex (status and bytes), a
system common or real-time message of a clip (its bytes), a sysex (its bytes between F0 and F7)."""

Content = tuple[object, ...]
"""Kind and values of a meta event or system exclusive message."""

Row = tuple[int, int, Content]
"""Tick, track, content."""


class Stored(NamedTuple):
    """Meta events and system exclusive messages in playing order."""

    ticks: IntArray
    tracks: IntArray
    which: IntArray  # of the contents
    contents: tuple[Content, ...]  # each once

    def rows(self) -> Iterator[Row]:
        """The events one by one."""
        columns = (self.ticks.tolist(), self.tracks.tolist(), self.which.tolist())
        return ((tick, track, self.contents[number]) for tick, track, number in zip(*columns, strict=True))

    def taken(self, rows: IntArray | NDArray[np.bool_]) -> Stored:
        """Some of the events."""
        return self._replace(ticks=self.ticks[rows], tracks=self.tracks[rows], which=self.which[rows])


class Collector:
    """Takes events as they come."""

    def __init__(self) -> None:
        self._ticks, self._tracks, self._which = array("q"), array("q"), array("q")
        self._numbers: dict[Content, int] = {}

    def add(self, tick: int, content: Content, track: int = 0) -> None:
        """Take one event."""
        self._ticks.append(tick)
        self._tracks.append(track)
        self._which.append(self._numbers.setdefault(content, len(self._numbers)))

    def extend(self, rows: Iterable[Row]) -> None:
        """Take several events."""
        for tick, track, content in rows:
            self.add(tick, content, track)

    def stored(self) -> Stored:
        """What has been taken."""
        ticks, tracks, which = (np.array(c, np.int64) for c in (self._ticks, self._tracks, self._which))
        return Stored(ticks, tracks, which, tuple(self._numbers))


def together(files: Sequence[Stored]) -> Stored:
    """What several files hold: each event as often as the file that holds it most often."""
    files = with_same_contents(files)
    columns = np.concatenate([np.stack(countable(stored)) for stored in files], axis=1)
    ticks, tracks, which, _ = np.unique(columns, axis=1)
    return Stored(ticks, tracks, which, files[0].contents)


def with_same_contents(files: Sequence[Stored]) -> list[Stored]:
    """The same with one list of contents for all."""
    numbers: dict[Content, int] = {}
    which = []
    for stored in files:
        renumber = [numbers.setdefault(content, len(numbers)) for content in stored.contents]
        which.append(np.array(renumber, np.int64)[stored.which])
    return [
        stored._replace(which=of_file, contents=tuple(numbers))
        for stored, of_file in zip(files, which, strict=True)
    ]


def countable(stored: Stored) -> list[IntArray]:
    """Tick, track, content, and how many equal events come before: so that no two rows are the same."""
    columns = [stored.ticks, stored.tracks, stored.which]
    order = np.lexsort(columns)
    rank = np.empty(len(order), np.int64)
    rank[order] = rank_in_group(np.cumsum(begins(*(column[order] for column in columns))))
    return [*columns, rank]

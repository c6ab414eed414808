"""Notes that want a channel, in playing order: as columns, and one by one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from retune.encode.survey.wanted import Wanted
from retune.score.model import IntArray

Move = tuple[int, int]
"""Tick and the value from then on."""


class Demand(NamedTuple):
    """The notes to be placed, in playing order. Arrays are (n,)."""

    note: IntArray  # index into Score.notes
    instrument: IntArray
    slot: IntArray
    key: IntArray
    on: IntArray  # ranks
    off: IntArray
    end: IntArray
    on_tick: IntArray
    end_tick: IntArray
    rested: IntArray  # tick at which the note's tail has died away

    def cast(self, wanted: Wanted) -> list[Request]:
        """The same as objects, for the loop."""
        first, after = wanted.first[self.note], wanted.first[self.note + 1]
        columns = [column.tolist() for column in (*self, wanted.value[first])]
        requests = list(map(Request, *columns))
        for k in (after - first > 1).nonzero()[0].tolist():
            later = slice(int(first[k]) + 1, int(after[k]))
            rows = zip(wanted.tick[later].tolist(), wanted.value[later].tolist(), strict=True)
            requests[k].moves = tuple(rows)
        return requests


@dataclass(slots=True)
class Request:
    """One note to be placed; the fields of `Demand`, and what it wants."""

    note: int
    instrument: int
    slot: int
    key: int
    on: int
    off: int
    end: int
    on_tick: int
    end_tick: int
    rested: int
    value: int
    moves: tuple[Move, ...] = ()
    close: float = (
        -1.0
    )  # how far from its tuning it may join others in the first place [steps]; -1: not at all

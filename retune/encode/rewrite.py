"""Tracks with messages put in, put in place of others, or added behind."""

from __future__ import annotations

from dataclasses import dataclass, field
from operator import itemgetter

import mido
import numpy as np

from retune.score.model import Track


@dataclass(slots=True)
class TrackRewrite:
    """One track being rewritten; the input is left alone.

    Insertions at one position keep the order in which they were made, and stand before the event that had
    that position in the input.
    """

    track: Track
    messages: list[mido.Message] = field(init=False)
    _inserted: list[tuple[int, int, mido.Message]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.messages = list(self.track.messages)

    def insert(self, position: int, tick: int, message: mido.Message) -> None:
        """Put a message before the event at a position of the input."""
        self._inserted.append((position, tick, message))

    @property
    def last_tick(self) -> int:
        """Tick of the last event."""
        own = int(self.track.ticks[-1]) if len(self.track.ticks) else 0
        return max([own, *(tick for _, tick, _ in self._inserted)])

    def build(self) -> Track:
        """The rewritten track."""
        inserted = sorted(self._inserted, key=itemgetter(0))
        ticks = (
            np.insert(self.track.ticks, [i[0] for i in inserted], [i[1] for i in inserted])
            if inserted
            else None
        )
        messages: list[mido.Message] = []
        done = 0
        for position, _, message in inserted:
            if position > done:
                messages += self.messages[done:position]
                done = position
            messages.append(message)
        messages += self.messages[done:]
        return Track(
            name=self.track.name,
            ticks=self.track.ticks if ticks is None else ticks,
            messages=messages,
            end_tick=max(self.track.end_tick, self.last_tick),
        )

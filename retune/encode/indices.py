"""Which note index carries each note of a MIDI 2.0 clip, and until when its pitch can be moved.

Pitch 7.25 belongs to a note number of a channel (M2-104-UM v1.1.2, 7.4.15.2). A note keeps its key as its
number. Where the key sounds already, per-note management cuts the older note loose (7.4.5): it stays at its
pitch, and the new one gets its own. That is not enough where the older note has to move later, or outlasts
the newer one, so that releases would be mixed up: then the newer one takes a number that the channel uses
nowhere else, as a mere index (appendix C.3).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from retune.encode.timeline import Timeline
from retune.encode.wanted import Wanted
from retune.score.model import IntArray, Score

FAR = 5  # semitones; an index this far from the pitch is not taken for the key
_NEVER = 1 << 62

Course = list[tuple[int, int]]
"""(tick, value) of a note from its onset on."""


@dataclass(slots=True)
class Indices:
    """Arrays are (n_notes,)."""

    index: list[int]  # note number in the file
    joins: list[bool]  # shares pitch and number with a note that sounds: nothing is sent before it
    stop: list[int]  # moves behind this tick are left out


def assign_indices(
    score: Score, timeline: Timeline, wanted: Wanted, lanes: IntArray, half_semitone: int
) -> Indices:
    """Give every note an index. `lanes` (n_notes,): channel of each; `half_semitone` in steps of `wanted`.

    A note further than that from its key gets no foreign index, as its pitch would no longer tell the key.
    """
    return _Assignment(score, timeline, wanted, lanes, half_semitone).run()


class _Assignment:
    def __init__(
        self, score: Score, timeline: Timeline, wanted: Wanted, lanes: IntArray, half_semitone: int
    ) -> None:
        notes = score.notes
        self.timeline, self.half_semitone = timeline, half_semitone
        self.lane, self.key = lanes.tolist(), notes["key"].tolist()
        self.onset, self.release = notes["onset_tick"].tolist(), notes["release_tick"].tolist()
        self.on, self.off, self.end = timeline.on.tolist(), timeline.off.tolist(), timeline.end.tolist()
        self.first, self.ticks = wanted.first.tolist(), wanted.tick.tolist()
        self.values = wanted.value.tolist()
        n = len(self.key)
        self.result = Indices(index=list(self.key), joins=[False] * n, stop=[_NEVER] * n)
        self.attached: dict[tuple[int, int], list[int]] = {}  # lane, key -> notes that still follow it
        self.foreign: dict[int, dict[int, int]] = {}  # lane -> index -> rank until which it is taken
        self.keys_of: dict[int, set[int]] = {}
        for lane, key in zip(self.lane, self.key, strict=True):
            self.keys_of.setdefault(lane, set()).add(key)

    def run(self) -> Indices:
        """Place all notes in the order in which they begin."""
        for note in np.argsort(self.timeline.on, kind="stable").tolist():
            if self.first[note] < self.first[note + 1]:
                self._place(note)
        return self.result

    def _place(self, note: int) -> None:
        where = (self.lane[note], self.key[note])
        ringing = [n for n in self.attached.get(where, ()) if self.end[n] > self.on[note]]
        held = [n for n in ringing if self.off[n] > self.on[note]]
        nested = any(self.off[n] > self.off[note] for n in held)
        if held and not nested and all(self._agree(n, note) for n in held):
            self.result.joins[note] = True
            for other in (*ringing, note):
                self._stop(other, max(self.release[other], self.onset[note]))
            self.attached[where] = [*ringing, note]
            return
        moving = [n for n in held if self._moves_within(n, self.onset[note], self.release[n])]
        if (moving or nested) and self._take_foreign(note):
            return
        for other in ringing:
            self._stop(other, self.onset[note])
        self.attached[where] = [note]

    def _stop(self, note: int, tick: int) -> None:
        self.result.stop[note] = min(self.result.stop[note], tick)

    def _course(self, note: int) -> Iterator[tuple[int, int]]:
        rows = slice(self.first[note], self.first[note + 1])
        return zip(self.ticks[rows], self.values[rows], strict=True)

    def _at(self, note: int, tick: int) -> int:
        values = [value for start, value in self._course(note) if start <= tick]
        return values[-1] if values else self.values[self.first[note]]

    def _moves_within(self, note: int, after: int, before: int) -> Course:
        return [(tick, value) for tick, value in self._course(note) if after < tick < before]

    def _agree(self, older: int, newer: int) -> bool:
        """True if both want the same as long as both are held."""
        begin, end = self.onset[newer], min(self.release[older], self.release[newer])
        if self._at(older, begin) != self._at(newer, begin):
            return False
        return self._moves_within(older, begin, end) == self._moves_within(newer, begin, end)

    def _take_foreign(self, note: int) -> bool:
        lane, key = self.lane[note], self.key[note]
        if abs(self.values[self.first[note]]) >= self.half_semitone:
            return False
        taken = self.foreign.setdefault(lane, {})
        for index in sorted(range(128), key=lambda i: abs(i - key)):
            is_free = index not in self.keys_of[lane] and taken.get(index, -1) < self.on[note]
            if abs(index - key) >= FAR and is_free:
                taken[index] = self.end[note]
                self.result.index[note] = index
                return True
        return False

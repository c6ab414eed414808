"""What the two encodings by tuning tables share: changes of one moment go out together.

Real-time messages of the MIDI Tuning Standard act on sounding notes at once (MIDI Tuning Updated
Specification p. 3), so a table is changed only where nothing sounds that wants it as it was.
"""

from __future__ import annotations

from collections.abc import Iterator

import mido

from retune.encode.writing.conduct import Conductor
from retune.encode.writing.lines import Line, Voice
from retune.encode.writing.performance import Performance, Task
from retune.encode.writing.rewrite import Place

Moment = tuple[int, int]
"""Tick and track."""


class TablePerformance(Performance):
    """Tells the conductor ahead which values a moment brings."""

    def tasks(self) -> list[Task]:
        """Everything that has to be looked at, in playing order, but for the events of the input."""
        tasks = super().tasks()
        conductor = self.conductor
        assert isinstance(conductor, TableConductor)
        lane, slots = self.spread.placement.lane.tolist(), self.music.slots.tolist()
        for _, tick, note, _, track, _, value in tasks:
            if note >= 0:
                conductor.expect(self.lines[lane[note]], slots[note], value, (tick, track))
        return tasks


class TableConductor(Conductor):
    """Tunes by tables; subclasses say which table a channel uses and how it is sent."""

    def __init__(self, *args: object, port: int) -> None:
        super().__init__(*args, port=port)  # type: ignore[arg-type]
        self.sent: dict[int, dict[int, int]] = {}  # table -> slot -> value
        self.changed_at: dict[tuple[int, int], Moment] = {}  # table and slot -> when
        self.coming: dict[tuple[int, Moment], dict[int, int]] = {}
        self.at_start: int | None = 0  # value of a slot that nothing was sent to; None: not known

    def table_of(self, line: Line) -> int:
        """Number of the table that a channel uses."""
        raise NotImplementedError

    def change(self, table: int, values: dict[int, int]) -> mido.Message:
        """The message that gives slots of a table new values."""
        raise NotImplementedError

    def expect(self, line: Line, slot: int, value: int, moment: Moment) -> None:
        """Note down a value that a note will want."""
        self.coming.setdefault((self.table_of(line), moment), {}).setdefault(slot, value)

    def is_tuned(self, line: Line, voice: Voice, slot: int, value: int, tick: int) -> bool:
        """True if the table is right and was not changed on this very tick, perhaps by another track."""
        table = self.table_of(line)
        when = self.changed_at.get((table, slot), (-1, -1))
        return self.has(table, slot, value) and when[0] != tick

    def has(self, table: int, slot: int, value: int) -> bool:
        """True if a slot of a table is at a value."""
        return self.sent.get(table, {}).get(slot, self.at_start) == value

    def tune(self, line: Line, voice: Voice, slot: int, value: int, place: Place) -> None:
        """Make a channel ready for a note, and its table for all notes of this moment."""
        if line.stale or line.owner is not voice:
            self.agree(line, voice, place)
        line.values[slot] = value
        moment = (place.tick, place.track)
        self._send_changes(line, {**self.coming.pop((self.table_of(line), moment), {}), slot: value}, place)

    def send_tuning(self, line: Line, voice: Voice, place: Place) -> None:
        """Send again what the sounding notes of the channel want, where it is lost."""
        sounding = {slot: value for slot, value in line.values.items() if line.until[slot] > place.tick}
        self._send_changes(line, sounding, place)

    def set_up(self, line: Line, voice: Voice) -> Iterator[mido.Message]:
        """Nothing is needed by default."""
        yield from ()

    def _send_changes(self, line: Line, values: dict[int, int], place: Place) -> None:
        table = self.table_of(line)
        there = self.sent.setdefault(table, {})
        changes = {}
        for slot, value in values.items():
            tick, track = self.changed_at.get((table, slot), (-1, -1))
            if not self.has(table, slot, value) or (tick == place.tick and track != place.track):
                changes[slot] = value
                self.changed_at[table, slot] = (place.tick, place.track)
        if changes:
            there.update(changes)
            self.insert(self.change(table, changes), line, place)

    def device_reset(self, after: Place) -> None:
        """The tables may be gone, or may not: General MIDI does not say."""
        self.sent.clear()
        self.at_start = None
        super().device_reset(after)

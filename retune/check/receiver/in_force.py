"""What is in force for each note besides its pitch: controllers, program, pressure, other parameters, over time.

A part spread over channels needs all of it on each of them; that the event is somewhere in the file is not enough.
"""

from __future__ import annotations

import numpy as np

from retune.arrays import begins, ends
from retune.check.receiver.sounding import IN_FORCE_DTYPE, BoolArray, FloatArray, IntArray, Table
from retune.check.receiver.timeline import Spans, Timeline, in_order
from retune.constants import BANK_CONTROLLERS, CONTROLLER_STARTS, RESET_BY_121

PRESSURE_OF_CHANNEL, PRESSURE_OF_NOTE, PROGRAM_AND_BANK = 128, 129, 130  # codes behind those of controllers
PARAMETERS = 1 << 15  # codes of parameters begin here
PARAMETER_STARTS = {PARAMETERS + (1 << 14 | 5): 64.0}
"""Values at the start, where they are known: modulation depth range (RPN 5), half a semitone (GM2 RP-024 3.4)."""
_RESET = (*RESET_BY_121, PRESSURE_OF_CHANNEL)
_ONE_SHOT = (84, 88)  # for a single note message: MIDI 1.0 p. 16; CA-031 (from memory)
_NOT_IN_FORCE = frozenset((6, 38, 96, 97, 98, 99, 100, 101, *_ONE_SHOT, *range(120, 128)))
IS_KEPT = np.array([number not in _NOT_IN_FORCE for number in range(PROGRAM_AND_BANK + 1)])
"""Whether what a code stands for holds until it is sent again; the others enter parameters, or are commands."""
_BANKS = tuple(zip(BANK_CONTROLLERS, (14, 7), strict=True))  # their bits stand above those of programs


class InForce:
    """Collects what channels are told, then tells what holds for each note."""

    def __init__(self, places: int) -> None:
        self.places = places
        self.told: dict[int, Timeline] = {}
        self._by_121: list[tuple[int, int]] = []  # lane, place of CC121
        self._by_device: list[tuple[int, int]] = []  # the same of resets of a device
        self._released = Timeline(0.0, places)  # where a reset of either kind takes the pressure off all keys

    def timeline(self, code: int) -> Timeline:
        """What channels are told of one thing."""
        if code not in self.told:
            start = PARAMETER_STARTS.get(code, -1.0) if code >= PARAMETERS else CONTROLLER_STARTS.get(code, 0)
            self.told[code] = Timeline(start, self.places)
        return self.told[code]

    def add(self, code: int, lane: int, place: int, value: int) -> None:
        """A channel is told something; for the pressure of a note, `lane` is the channel's lane · 128 + key."""
        if code >= len(IS_KEPT) or IS_KEPT[code]:
            self.timeline(code).add(lane, place, value)

    def reset_controllers(self, place: int, lane: int) -> None:
        """CC121."""
        self._by_121.append((lane, place))

    def reset_device(self, place: int, lane: int) -> None:
        """A reset of everything, on one channel."""
        self._by_device.append((lane, place))

    def freeze(self, program: Timeline) -> None:
        """End the collecting; `program` is the timeline of programs."""
        _put_back(self._released, self._by_device)
        _put_back(self._released, self._by_121)
        for code, timeline in self.told.items():
            if code != PRESSURE_OF_NOTE:
                _put_back(timeline, self._by_device)
            if code in _RESET:
                _put_back(timeline, self._by_121)
        if program.changes:
            self.told[PROGRAM_AND_BANK] = self._with_banks(program)

    def _with_banks(self, program: Timeline) -> Timeline:
        """Programs with the banks in force when they were chosen."""
        banks = [(self.told[bank], shift) for bank, shift in _BANKS if bank in self.told]
        if not banks:
            return program
        lanes, places = np.divmod(program.keys, program.places)
        values = program.values.copy()
        told = values >= 0
        for bank, shift in banks:
            values[told] += (bank.at(lanes, places) * (1 << shift))[told]
        both = Timeline(program.default, program.places)
        both.extend(lanes, places, values)
        return both

    def rows(self, spans: Spans, ticks: IntArray, release_ticks: IntArray) -> Table:
        """IN_FORCE_DTYPE rows of all notes, from onset to release; what is as at the start has no row.

        `ticks` are those of all places. Notes of no length have no rows.
        """
        found = [np.zeros(0, dtype=IN_FORCE_DTYPE)]
        for code, timeline in sorted(self.told.items()):
            start = (
                0.0 if code == PROGRAM_AND_BANK else timeline.default
            )  # who is told no program has program 0
            of_channels = code == PRESSURE_OF_NOTE  # also: for members of a zone it is that of their channels
            if code in BANK_CONTROLLERS or ((timeline.values == start).all() and not of_channels):
                continue
            for_code = _OfCode(code, timeline, spans, self.told.get(PRESSURE_OF_CHANNEL), self._released)
            notes, places = for_code.breaks()
            values = for_code.values(notes, places)
            if code == PROGRAM_AND_BANK:
                values = np.maximum(values, 0.0)
            at = ticks[places]
            down = np.flatnonzero(at < release_ticks[notes])
            rows = down[_changes(notes[down], at[down], values[down], start)]
            table = np.empty(len(rows), dtype=IN_FORCE_DTYPE)
            table["note"], table["code"] = notes[rows], code
            table["tick"], table["value"] = at[rows], values[rows]
            found.append(table)
        return np.concatenate(found)


class _OfCode:
    """One thing that channels are told, as it holds for notes. In a zone the later of two settings counts."""

    def __init__(
        self, code: int, timeline: Timeline, spans: Spans, pressure: Timeline | None, released: Timeline
    ) -> None:
        self.code, self.own, self.managers = code, timeline, spans.managers
        self.lanes, self.on, self.off = spans.lanes, spans.on, spans.off
        self.members: BoolArray = (spans.managers >= 0) & (code < PARAMETERS)  # each is told its parameters
        if code == PRESSURE_OF_NOTE:
            self.lanes = spans.lanes * 128 + spans.keys
        self.pressure, self.released, self.channels = pressure, released, spans.lanes

    def breaks(self) -> tuple[IntArray, IntArray]:
        """(note, place) wherever a value begins or may change, in order."""
        starts = np.arange(len(self.lanes))
        if self.code == PRESSURE_OF_NOTE:  # a new note of a key begins without the pressure of the last
            starts = np.flatnonzero(self.members)
        found = [(starts, self.on[starts])]
        if self.code != PROGRAM_AND_BANK:  # sounding notes keep theirs (GM2 RP-024 3.2)
            found.append(self.own.between(self.lanes, self.on, self.off))
            if self.code == PRESSURE_OF_NOTE:
                found.append(self.released.between(self.channels, self.on, self.off))
            members = np.flatnonzero(self.members)
            if len(members):
                lanes, timeline = self.managers[members], self.own
                if self.code == PRESSURE_OF_NOTE and self.pressure is not None:
                    lanes, timeline = self.channels[members], self.pressure
                rows, places = timeline.between(lanes, self.on[members], self.off[members])
                found.append((members[rows], places))
        return in_order(found)

    def values(self, notes: IntArray, places: IntArray) -> FloatArray:
        """Value for each note at a place."""
        lanes, managers = self.lanes[notes], self.managers[notes]
        values = self.own.at(lanes, places)
        if self.code == PRESSURE_OF_NOTE:  # RP-015
            values[self.released.latest(self.channels[notes], places) > self.own.latest(lanes, places)] = 0.0
        rows = np.flatnonzero(self.members[notes])
        if not len(rows):
            return values
        at = places[rows]
        zone = self.own.at(managers[rows], at)
        if self.code == PRESSURE_OF_NOTE:  # the pressure of a member is that of its note (MPE 2.2.7)
            pressure = self.pressure
            values[rows] = 0.0 if pressure is None else pressure.at(self.channels[notes[rows]], at)
        elif self.code == PRESSURE_OF_CHANNEL:
            values[rows] = zone
        elif self.code == PROGRAM_AND_BANK:  # MPE 2.3.3
            values[rows] = np.where(zone >= 0, zone, values[rows])
        else:
            later = self.own.latest(managers[rows], at) > self.own.latest(lanes[rows], at)
            values[rows] = np.where(later, zone, values[rows])
        return values


def _put_back(timeline: Timeline, resets: list[tuple[int, int]]) -> None:
    if resets:
        lanes, places = np.array(resets, dtype=np.int64).T
        timeline.extend(lanes, places, np.full(len(lanes), float(timeline.default)))


def _changes(notes: IntArray, ticks: IntArray, values: FloatArray, start: float) -> IntArray:
    """Of several rows of a note at a tick the last, and of these the ones that change something."""
    rows = np.flatnonzero(ends(notes, ticks))
    notes, values = notes[rows], values[rows]
    before = np.empty(len(rows))
    before[1:] = values[:-1]
    before[begins(notes)] = start
    result: IntArray = rows[values != before]
    return result

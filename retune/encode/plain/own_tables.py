"""Tuning tables of the input, taken out of the file and into the tuning.

Tables belong to a channel, or to the tuning program it has chosen, and hold for every note there; encoders give notes
other channels, tables of their own, or pitches that override tables. So what the messages of the input do to each note
is worked out, added to its tuning, and the messages are left out. Section numbers: MIDI Tuning Updated Specification
(core, CA-020, CA-021). Tables leave percussion alone (GM2, RP-024, 4.7).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable
from dataclasses import replace
from typing import NamedTuple

import mido
import numpy as np

from retune.arrays import distinct
from retune.constants import (
    CC_DATA_INCREMENT,
    CC_DATA_LSB,
    CC_DATA_MSB,
    CC_RPN_LSB,
    CHANNELS_PER_PORT,
    DATA_CONTROLLERS,
    RPN_TUNING_BANK,
    RPN_TUNING_PROGRAM,
    SELECTING_CONTROLLERS,
)
from retune.encode.messages import is_reset
from retune.encode.plain.edit import edited
from retune.encode.survey.instruments import BendState
from retune.encode.survey.timeline import read_timeline
from retune.errors import InputError
from retune.score.model import IntArray, Score
from retune.tuning.model import OFFSET_DTYPE, Tuning
from retune.units import fine_tuning_cents

REAL_TIME, TUNING_STANDARD = 0x7F, 0x08
_UNIVERSAL = (0x7E, 0x7F)
_KEYS = 128
_NO_CHANGE = (127, 127, 127)  # p. 1
_CHOICES = (("rpn", RPN_TUNING_PROGRAM), ("rpn", RPN_TUNING_BANK))

KEYS, OCTAVE = 0, 1  # kinds of tables; they add

Table = dict[int, float]
"""Key → cents."""


class TableChange(NamedTuple):
    """What a message does: to the keys of a tuning program, or to the pitch classes of channels."""

    cents: Table  # by key, or by pitch class
    at_once: bool  # sounding notes move as well
    program: tuple[int, int] = (0, 0)  # bank and number
    channels: frozenset[int] | None = None  # None: a change of keys


def read_change(data: tuple[int, ...]) -> TableChange | None:
    """The change that a sysex (bytes between F0 and F7) makes, None if it is none or is cut short."""
    if len(data) < 6 or data[0] not in _UNIVERSAL or data[2] != TUNING_STANDARD:
        return None
    form, at_once = data[3], data[0] == REAL_TIME
    try:
        if form == 0x02 and at_once:  # single notes, p. 2
            return TableChange(_notes(data[6:], data[5]), at_once, (0, data[4]))
        if form == 0x07:  # single notes of a bank, p. 4
            return TableChange(_notes(data[7:], data[6]), at_once, (data[4], data[5]))
        if form in (0x08, 0x09):  # octaves of channels, pp. 7-8
            mask = (data[4] & 3) << 14 | data[5] << 7 | data[6]
            channels = frozenset(c for c in range(CHANNELS_PER_PORT) if mask >> c & 1)
            return TableChange(_octave(data[7:], fine=form == 0x09), at_once, channels=channels)
        if at_once:
            return None
        if form in (0x01, 0x04):  # all keys of a program, pp. 2 and 5
            program = (0, data[4]) if form == 0x01 else (data[4], data[5])
            words = data[21 if form == 0x01 else 22 :]
            flat = [byte for key in range(_KEYS) for byte in (key, *words[3 * key : 3 * key + 3])]
            return TableChange(_notes(tuple(flat), _KEYS), at_once, program)
        if form in (0x05, 0x06):  # one octave for all keys of a program, p. 6
            octave = _octave(data[22:], fine=form == 0x06)
            return TableChange({k: octave[k % 12] for k in range(_KEYS)}, at_once, (data[4], data[5]))
    except (IndexError, ValueError):
        pass  # cut short
    return None


def _notes(body: tuple[int, ...], count: int) -> Table:
    rows = [body[4 * k : 4 * k + 4] for k in range(count)]
    return {
        key: 100.0 * (semitone - key + (high << 7 | low) / 16384)
        for key, semitone, high, low in rows
        if (semitone, high, low) != _NO_CHANGE
    }


def _octave(body: tuple[int, ...], *, fine: bool) -> Table:
    if fine:
        return {k: fine_tuning_cents(body[2 * k] << 7 | body[2 * k + 1]) for k in range(12)}
    return {k: float(body[k] - 64) for k in range(12)}


def absorbed(score: Score, tuning: Tuning, *, keys: bool = True) -> tuple[Score, Tuning]:
    """The score without the tables of its own, and the tuning with what they do.

    Without `keys` changes of keys stay in the file: octave tables alone are taken out.
    """
    if not _has_tables(score, keys=keys):
        return score, tuning
    sweep = _Sweep(score, tuning, keys=keys)
    sweep.run()
    return edited(score, sweep.changes), replace(tuning, offsets=_added(tuning.offsets, sweep.courses))


def _has_tables(score: Score, *, keys: bool) -> bool:
    messages = score.different_messages
    if keys and any(map(_chooses_table, messages)):
        return True  # another table than ours
    changes = (read_change(message.data) for message in messages if message.type == "sysex")
    return any(change is not None and (keys or change.channels is not None) for change in changes)


def _chooses_table(message: mido.Message) -> bool:
    """True if a message may select the tuning program or bank."""
    return bool(
        message.type == "control_change"
        and message.control == CC_RPN_LSB
        and message.value in (RPN_TUNING_PROGRAM[1], RPN_TUNING_BANK[1])
    )


MOST_MOVES = 1_000_000  # of sounding notes by tables of the file; chosen far above any music


class _Sweep:
    """One pass over notes and tables in playing order."""

    def __init__(self, score: Score, tuning: Tuning, *, keys: bool) -> None:
        self.score, self.keys = score, keys
        self.timeline = read_timeline(score)
        self.notes = distinct(tuning.offsets["note"])
        self.changes: dict[tuple[int, int], list[mido.Message]] = {}
        self.courses: dict[int, list[tuple[int, float]]] = {}  # note → (tick, cents)
        self._programs: dict[tuple[int, int, int], Table] = defaultdict(dict)  # port, bank, number
        self._octaves: dict[tuple[int, int], Table] = defaultdict(dict)  # port, channel
        self._chosen: dict[tuple[int, int], tuple[int, int]] = defaultdict(lambda: (0, 0))
        self._states: dict[tuple[int, int], BendState] = defaultdict(BendState)
        self._sounding: dict[tuple[int, int], dict[int, list[int]]] = defaultdict(
            dict
        )  # channel → key → notes
        self._alike: dict[
            tuple[int, int, int, int], float
        ] = {}  # channel, key, kind of table → cents of all its notes
        self._moves = 0
        self._rank = 0
        self._obeyed: dict[int, list[float]] = {}  # note → cents by keys and by octave
        columns = (score.notes["part"], score.notes["key"], self.timeline.end)
        self._part, self._key, self._end = (column.tolist() for column in columns)

    def run(self) -> None:
        """Follow every table and every note."""
        on = self.timeline.on[self.notes]
        order = np.argsort(on, kind="stable")
        starts, notes = on[order].tolist(), self.notes[order].tolist()
        done = 0
        for rank, tick, port, event in self._events():
            while done < len(notes) and starts[done] < rank:
                self._start(notes[done])
                done += 1
            self._rank = rank
            self._take(port, tick, event)
        for note in notes[done:]:
            self._start(note)

    def _events(self) -> list[tuple[int, int, int, tuple[int, int]]]:
        """(rank, tick, port, (track, index)) of sysex and of what chooses programs, in playing order."""
        found = []
        for number, track in enumerate(self.score.tracks):
            base, port = int(self.timeline.first_of_track[number]), 0
            for index, message in enumerate(track.messages):
                if message.type == "midi_port":
                    port = message.port
                elif message.type == "sysex" or (
                    message.type == "control_change"
                    and message.control in (*SELECTING_CONTROLLERS, *DATA_CONTROLLERS)
                ):
                    rank = int(self.timeline.rank[base + index])
                    found.append((rank, int(track.ticks[index]), port, (number, index)))
        return sorted(found)

    def _take(self, port: int, tick: int, event: tuple[int, int]) -> None:
        message = self.score.tracks[event[0]].messages[event[1]]
        if message.type == "sysex":
            if is_reset(message):
                self._reset(port, tick)
            elif (change := read_change(message.data)) is not None:
                self._apply(port, tick, event, change)
            return
        state = self._states[port, message.channel]
        if message.control not in DATA_CONTROLLERS:
            state.control(message.control, message.value)
        elif state.selection in _CHOICES and self.keys:
            self.changes[event] = []
            bank, program = self._chosen[port, message.channel]
            is_bank = state.selection[1] == RPN_TUNING_BANK
            value = _entered(bank if is_bank else program, message)
            if value is not None:
                self._chosen[port, message.channel] = (value, program) if is_bank else (bank, value)
                self._move(tick, KEYS, [(port, message.channel)])

    def _reset(self, port: int, tick: int) -> None:
        """After a device reset every channel has program 0 of bank 0 again."""
        for lane in [lane for lane in self._chosen if lane[0] == port]:
            self._chosen[lane] = (0, 0)
        for lane in [lane for lane in self._states if lane[0] == port]:
            self._states[lane].reset()
        self._move(tick, KEYS, [lane for lane in self._sounding if lane[0] == port])

    def _apply(self, port: int, tick: int, event: tuple[int, int], change: TableChange) -> None:
        if change.channels is not None:
            self.changes[event] = []
            lanes = {(port, channel) for channel in change.channels}
            for lane in lanes:
                self._octaves[lane] = change.cents
            if change.at_once:
                self._move(tick, OCTAVE, sorted(lanes & self._sounding.keys()))
        elif self.keys:
            self.changes[event] = []
            self._programs[port, *change.program].update(change.cents)
            if change.at_once:
                obeying = [k for k in self._sounding if k[0] == port and self._chosen[k] == change.program]
                self._move(tick, KEYS, obeying, change.cents)

    def _lane(self, note: int) -> tuple[int, int]:
        part = self.score.parts[self._part[note]]
        return part.port, part.channel

    def _cents(self, lane: tuple[int, int], key: int, which: int) -> float:
        if which == OCTAVE:
            return self._octaves[lane].get(key % 12, 0.0)
        return self._programs[lane[0], *self._chosen[lane]].get(key, 0.0)

    def _start(self, note: int) -> None:
        lane, key = self._lane(note), self._key[note]
        others = self._sounding[lane].setdefault(key, [])
        self._obeyed[note] = [self._cents(lane, key, KEYS), self._cents(lane, key, OCTAVE)]
        for which, cents in enumerate(self._obeyed[note]):
            if not others:
                self._alike[*lane, key, which] = cents
            elif self._alike.get((*lane, key, which)) != cents:
                self._alike.pop((*lane, key, which), None)
        others.append(note)
        self.courses[note] = [(int(self.score.notes["onset_tick"][note]), sum(self._obeyed[note]))]

    def _move(
        self, tick: int, which: int, lanes: Iterable[tuple[int, int]], keys: Container[int] | None = None
    ) -> None:
        """Sounding notes of channels, and of some keys, take what one kind of table has for them now."""
        for lane in lanes:
            for key, notes in self._sounding[lane].items():
                if keys is None or key in keys:
                    self._move_key(tick, which, lane, key, notes)

    def _move_key(self, tick: int, which: int, lane: tuple[int, int], key: int, notes: list[int]) -> None:
        cents = self._cents(lane, key, which)
        if self._alike.get((*lane, key, which)) == cents:
            return
        notes[:] = [note for note in notes if self._end[note] > self._rank]
        self._alike[*lane, key, which] = cents
        for note in notes:
            self._obeyed[note][which] = cents
            if (total := sum(self._obeyed[note])) != self.courses[note][-1][1]:
                self.courses[note].append((tick, total))
        self._moves += len(notes)
        if self._moves > MOST_MOVES:
            raise InputError(
                f"{self.score.where(tick)}: its own tuning tables have moved sounding notes more than {MOST_MOVES} "
                "times by here; this is hardly music"
            )


def _entered(value: int, message: mido.Message) -> int | None:
    """A tuning program or bank after data entry, in steps of one; the LSB says nothing (None)."""
    if message.control == CC_DATA_LSB:
        return None
    if message.control == CC_DATA_MSB:
        return int(message.value)
    return min(max(value + (1 if message.control == CC_DATA_INCREMENT else -1), 0), 127)


def _added(offsets: np.ndarray, courses: dict[int, list[tuple[int, float]]]) -> np.ndarray:
    """OFFSET_DTYPE rows with courses added to them; cut where either changes."""
    if not len(offsets):
        return offsets  # nothing but drums
    rows: list[tuple[int, int, int, float]] = []
    first: IntArray = np.searchsorted(offsets["note"], distinct(offsets["note"]))
    for begin, end in zip(first.tolist(), [*first.tolist()[1:], len(offsets)], strict=True):
        mine = offsets[begin:end]
        note, last = int(mine["note"][0]), int(mine["end_tick"][-1])
        course = courses[note]
        ticks = sorted({*mine["start_tick"].tolist(), *(tick for tick, _ in course if tick < last)})
        base = mine["offset_cents"][np.searchsorted(mine["start_tick"], ticks, side="right") - 1]
        starts = [tick for tick, _ in course]
        own = np.array([cents for _, cents in course])[np.searchsorted(starts, ticks, side="right") - 1]
        total = (base + own).tolist()
        rows += [
            (note, tick, stop, cents)
            for k, (tick, stop, cents) in enumerate(zip(ticks, [*ticks[1:], last], total, strict=True))
            if k == 0 or cents != total[k - 1]
        ]
    result = np.array(rows, dtype=OFFSET_DTYPE)
    same = result["note"][1:] == result["note"][:-1]
    result["end_tick"][:-1][same] = result["start_tick"][1:][same]
    return result

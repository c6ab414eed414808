"""MIDI Tuning Standard: reading its messages, and the tables a receiver keeps.

Section and page numbers are those of the MIDI Tuning Updated Specification (core, CA-020, CA-021, RP-020).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from retune.check.receiver.sounding import FloatArray, IntArray
from retune.check.receiver.timeline import Timeline
from retune.constants import CHANNELS_PER_PORT
from retune.units import fine_tuning_cents

_NO_CHANGE = (127, 127, 127)  # p. 1
_KEYS = 128


class KeyChange(NamedTuple):
    """Keys of one tuning get new pitches."""

    bank: int
    program: int
    cents: dict[int, float]  # key → cents from its equal-tempered pitch
    moves_sounding: bool  # the real-time forms; the others tune later notes only


class OctaveChange(NamedTuple):
    """Channels get twelve new offsets, C first [cents]."""

    channels: int  # bit c set: channel c
    cents: tuple[float, ...]
    moves_sounding: bool


def read_tuning(data: tuple[int, ...]) -> KeyChange | OctaveChange | None:
    """What a universal sysex (bytes between F0 and F7) says about tuning; None if it is no tuning message.

    Messages cut short are None as well; a receiver cannot obey them.
    """
    if len(data) < 6 or data[0] not in (0x7E, 0x7F) or data[2] != 0x08:
        return None
    form, real_time = data[3], data[0] == 0x7F
    if form == 0x02 and real_time:  # single note change, p. 2
        return _note_changes(data[6:], data[5], 0, data[4], True)
    if form == 0x07 and len(data) > 6:  # the same with a bank, p. 4
        return _note_changes(data[7:], data[6], data[4], data[5], real_time)
    if form in (0x08, 0x09):  # scale/octave, pp. 7-8
        mask = (data[4] & 3) << 14 | data[5] << 7 | data[6] if len(data) > 6 else 0
        return _octave(data[7:], mask, form == 0x09, real_time)
    if real_time:
        return None
    if form in (0x01, 0x04):  # bulk and key-based dump, pp. 2, 5
        start = 5 if form == 0x01 else 6
        bank, program = (0, data[4]) if form == 0x01 else (data[4], data[5])
        words = data[start + 16 : start + 16 + 3 * _KEYS]
        table = [key_byte for key in range(_KEYS) for key_byte in (key, *words[3 * key : 3 * key + 3])]
        return _note_changes(tuple(table), _KEYS, bank, program, False)
    if form in (0x05, 0x06):  # scale/octave dump, p. 6
        offsets = _offsets(data[22:], form == 0x06)
        if offsets is None:
            return None
        keys = {key: offsets[key % 12] for key in range(_KEYS)}
        return KeyChange(data[4], data[5], keys, False)
    return None


def _note_changes(
    body: tuple[int, ...], count: int, bank: int, program: int, moves_sounding: bool
) -> KeyChange | None:
    if len(body) < 4 * count:
        return None
    cents = {}
    for i in range(0, 4 * count, 4):
        key, semitone, high, low = body[i : i + 4]
        if (semitone, high, low) != _NO_CHANGE:
            cents[key] = 100.0 * (semitone - key) + (high << 7 | low) * 100.0 / 16384
    return KeyChange(bank, program, cents, moves_sounding)


def _octave(body: tuple[int, ...], mask: int, fine: bool, moves_sounding: bool) -> OctaveChange | None:
    offsets = _offsets(body, fine)
    return None if offsets is None else OctaveChange(mask, offsets, moves_sounding)


def _offsets(body: tuple[int, ...], fine: bool) -> tuple[float, ...] | None:
    """Twelve offsets: 1 byte, 64 is none, a cent each; or 2 bytes, MSB first, 8192 steps to 100 cents."""
    if len(body) < (24 if fine else 12):
        return None
    if fine:
        return tuple(fine_tuning_cents(body[i] << 7 | body[i + 1]) for i in range(0, 24, 2))
    return tuple(float(value - 64) for value in body[:12])


class TuningTables:
    """Key tables by bank and program, octave tables by channel, and which key table a channel uses.

    A channel uses bank 0, program 0 until RPN 3 or 4 choose another. Octave and key tables add.
    """

    def __init__(self, n_ports: int, places: int) -> None:
        self.places = places
        self.tuning_ids: dict[tuple[int, int, int], int] = {}  # port, bank, program → number
        for port in range(n_ports):
            self._tuning(port, 0, 0)
        self.selection = Timeline(-1.0, places)  # lane → tuning
        self.keys = Timeline(0.0, places)  # tuning · 128 + key → cents
        self.octave = Timeline(0.0, places)  # lane → row of octaves
        self.quiet: list[int] = []  # places of changes that leave sounding notes alone
        self.loud_keys, self.loud_octave = (
            Timeline(0.0, places),
            Timeline(0.0, places),
        )  # where others moved them
        self.octaves: list[tuple[float, ...]] = [(0.0,) * 12]

    def _tuning(self, port: int, bank: int, program: int) -> int:
        return self.tuning_ids.setdefault((port, bank, program), len(self.tuning_ids))

    def select(self, place: int, lane: int, bank: int, program: int) -> None:
        """RPN 3 and 4: the channel changes to another tuning, sounding notes too (p. 3)."""
        port = lane // CHANNELS_PER_PORT
        self.selection.add(lane, place, self._tuning(port, bank, program))

    def apply(self, place: int, port: int, change: KeyChange | OctaveChange) -> None:
        """Take a tuning message to heart."""
        if not change.moves_sounding:
            self.quiet.append(place)
        if isinstance(change, KeyChange):
            first = self._tuning(port, change.bank, change.program) * _KEYS
            for key, cents in change.cents.items():
                self.keys.add(first + key, place, cents)
                if change.moves_sounding:
                    self.loud_keys.add(first + key, place, cents)
            return
        self.octaves.append(change.cents)
        for channel in range(CHANNELS_PER_PORT):
            if change.channels >> channel & 1:
                lane = port * CHANNELS_PER_PORT + channel
                self.octave.add(lane, place, len(self.octaves) - 1)
                if change.moves_sounding:
                    self.loud_octave.add(lane, place, 0.0)

    def freeze(self) -> TuningTables:
        """End the collecting."""
        self.octave_rows = np.array(self.octaves)
        return self

    @property
    def used(self) -> bool:
        """Whether any table was sent."""
        return self.keys.changes or self.octave.changes

    def tunings(self, lanes: IntArray, places: IntArray) -> IntArray:
        """Key table each lane uses at a place."""
        chosen = self.selection.at(lanes, places).astype(np.int64)
        default = np.array(
            [self.tuning_ids[port, 0, 0] for port in range(int(lanes.max(initial=0)) // 16 + 1)]
        )
        return np.where(chosen < 0, default[lanes // CHANNELS_PER_PORT], chosen)

    def cents(self, lanes: IntArray, keys: IntArray, places: IntArray, since: IntArray) -> FloatArray:
        """Offset of each key on its lane at a place, for a note that began at `since`.

        What a change that leaves sounding notes alone has put into a table counts from the next note on.
        """
        index = self.tunings(lanes, places) * _KEYS + keys
        chosen = np.maximum(since, self.selection.latest(lanes, places))
        obeyed = np.maximum(chosen, self.loud_keys.latest(index, places))
        rows = self.octave.at(lanes, np.maximum(since, self.loud_octave.latest(lanes, places))).astype(
            np.int64
        )
        result: FloatArray = self.keys.at(index, obeyed) + self.octave_rows[rows, keys % 12]
        return result

    def breaks(
        self, lanes: IntArray, keys: IntArray, after: IntArray, before: IntArray
    ) -> tuple[IntArray, IntArray]:
        """(row, place) of every change that may move a sounding note between two places."""
        found = [self.octave.between(lanes, after, before), self.selection.between(lanes, after, before)]
        rows = np.concatenate([np.arange(len(lanes)), found[1][0]])
        spots = np.concatenate([after, found[1][1]])
        tables = self.tunings(lanes[rows], spots)
        both = np.unique(np.stack([rows, tables]), axis=1)
        inner, places = self.keys.between(both[1] * _KEYS + keys[both[0]], after[both[0]], before[both[0]])
        found.append((both[0][inner], places))
        rows, places = (np.concatenate(part) for part in zip(*found, strict=True))
        loud = ~np.isin(places, self.quiet)
        return rows[loud], places[loud]

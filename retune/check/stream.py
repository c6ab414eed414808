"""The messages of all tracks of a file in playing order, as columns.

Order within one tick is that of the tracks, then that of the track (Standard MIDI Files 1.0: events are
performed in stored order; between tracks at one tick it defines none).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import mido
import numpy as np

from retune.check.sounding import IntArray
from retune.errors import InputError, Remark
from retune.score.model import Score
from retune.score.parse import parse
from retune.score.repair import repair

NOTE_ON, NOTE_OFF, BEND, CONTROL, PROGRAM, CHANNEL_PRESSURE, KEY_PRESSURE, SYSEX, OTHER = range(9)


class _Kinds(dict[str, int]):
    """Code of each message type; everything else is a meta event."""

    def __missing__(self, kind: str) -> int:
        return OTHER


KINDS = _Kinds(
    note_on=NOTE_ON,
    note_off=NOTE_OFF,
    pitchwheel=BEND,
    control_change=CONTROL,
    program_change=PROGRAM,
    aftertouch=CHANNEL_PRESSURE,
    polytouch=KEY_PRESSURE,
    sysex=SYSEX,
)

Messages = list[mido.Message | mido.MetaMessage]


class Stream(NamedTuple):
    """All messages of a file; row r of each column belongs to `messages[r]`, rows are in playing order."""

    format: int
    ticks_per_quarter: float
    messages: Messages
    ticks: IntArray
    tracks: IntArray
    kinds: IntArray
    ports: IntArray
    track_names: tuple[str, ...]
    track_ends: IntArray

    def rows(self, *kinds: int) -> IntArray:
        """Rows of the given kinds, in order."""
        wanted = np.zeros(OTHER + 1, dtype=bool)
        wanted[list(kinds)] = True
        return np.flatnonzero(wanted[self.kinds])

    def pick(self, rows: IntArray) -> Messages:
        """The messages of the given rows."""
        messages = self.messages
        return [messages[row] for row in rows.tolist()]


def stream_of_bytes(data: bytes, name: str) -> tuple[Stream, tuple[Remark, ...]]:
    """Messages of a Standard MIDI File, and what had to be mended in it (nothing in a sound file).

    Raises `InputError` where there is nothing to play.
    """
    repaired = repair(data, name=name)
    if repaired.format == 2:
        raise InputError(f"{name}: a file of independent patterns (format 2) has no one playing order")
    tracks = [(track.messages, track.ticks) for track in parse(repaired)]
    ends = [int(ticks[-1]) if len(ticks) else 0 for _, ticks in tracks]
    stream = _merged(repaired.format, quarter_ticks(repaired.division), tracks, ends)
    return stream, tuple(repaired.remarks)


def stream_of_score(score: Score) -> Stream:
    """Messages of an already read score."""
    tracks = [(track.messages, track.ticks) for track in score.tracks]
    ends = [track.end_tick for track in score.tracks]
    return _merged(score.format, score.clock.ticks_per_quarter, tracks, ends)


def quarter_ticks(division: int) -> float:
    """Ticks per quarter of a header's division word; SMPTE divisions run at 120 to the minute."""
    if division > 0:
        return float(division)
    frames, ticks_per_frame = -(division >> 8), division & 0xFF
    frames_per_second = 30000 / 1001 if frames == 29 else frames  # 29 is the 30 drop-frame rate
    return frames_per_second * ticks_per_frame / 2.0


def _merged(
    format_: int, per_quarter: float, tracks: Sequence[tuple[Messages, IntArray]], ends: Sequence[int]
) -> Stream:
    messages = [message for track, _ in tracks for message in track]
    ticks = np.concatenate([ticks for _, ticks in tracks]) if tracks else np.zeros(0, np.int64)
    numbers = np.repeat(np.arange(len(tracks)), [len(track) for track, _ in tracks])
    kinds = np.array([KINDS[message.type] for message in messages], np.int64)
    metas = np.flatnonzero(kinds == OTHER)
    ports = _ports(messages, metas, numbers)
    names = _names(messages, metas, numbers, len(tracks))
    if len(tracks) > 1:
        order = np.argsort(ticks, kind="stable")
        messages = [messages[row] for row in order.tolist()]
        ticks, numbers, kinds, ports = ticks[order], numbers[order], kinds[order], ports[order]
    return Stream(
        format=format_,
        ticks_per_quarter=per_quarter,
        messages=messages,
        ticks=ticks,
        tracks=numbers,
        kinds=kinds,
        ports=ports,
        track_names=names,
        track_ends=np.array(ends, dtype=np.int64),
    )


def _ports(messages: Messages, metas: IntArray, tracks: IntArray) -> IntArray:
    """Port in force at each message (FF 21, a widespread convention outside the standard)."""
    ports = np.zeros(len(messages), dtype=np.int64)
    for row in metas.tolist():
        if messages[row].type == "midi_port":
            end = np.searchsorted(tracks, tracks[row], side="right")
            ports[row:end] = messages[row].port
    return ports


def _names(messages: Messages, metas: IntArray, tracks: IntArray, count: int) -> tuple[str, ...]:
    """First name event of each track, "" for a track without one."""
    names: dict[int, str] = {}
    for row in metas.tolist():
        if messages[row].type == "track_name":
            names.setdefault(int(tracks[row]), str(messages[row].name))
    return tuple(names.get(track, "") for track in range(count))

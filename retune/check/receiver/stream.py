"""The messages of all tracks of a file in playing order, as columns.

Order within one tick is that of the tracks, then that of the track (Standard MIDI Files 1.0: events are
performed in stored order; between tracks at one tick it defines none).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import chain
from typing import NamedTuple

import mido
import numpy as np

from retune.check.receiver.sounding import IntArray
from retune.constants import CHANNELS_PER_PORT
from retune.errors import InputError, Remark
from retune.score.columns import distinct_messages
from retune.score.model import Score
from retune.score.parse import parse
from retune.score.repair import repair

NOTE_ON, NOTE_OFF, BEND, CONTROL, PROGRAM, CHANNEL_PRESSURE, KEY_PRESSURE, SYSEX, OTHER = range(9)


_Fields = tuple[int, int, int, int]
_FIELDS: dict[str, Callable[[mido.Message], _Fields]] = {
    "note_on": lambda m: (NOTE_ON, m.channel, m.note, m.velocity),
    "note_off": lambda m: (NOTE_OFF, m.channel, m.note, m.velocity),
    "pitchwheel": lambda m: (BEND, m.channel, 0, m.pitch),
    "control_change": lambda m: (CONTROL, m.channel, m.control, m.value),
    "program_change": lambda m: (PROGRAM, m.channel, 0, m.program),
    "aftertouch": lambda m: (CHANNEL_PRESSURE, m.channel, 0, m.value),
    "polytouch": lambda m: (KEY_PRESSURE, m.channel, m.note, m.value),
    "sysex": lambda _: (SYSEX, 0, 0, 0),
}
"""For each message type what gives its code, channel, number and value; all others are meta events."""

Messages = list[mido.Message | mido.MetaMessage]


class Stream(NamedTuple):
    """All messages of a file; rows are in playing order."""

    format: int
    ticks_per_quarter: float
    different: Messages  # each once, wherever it stands
    which: IntArray  # (n_rows,) the message of each row
    ticks: IntArray
    tracks: IntArray
    kinds: IntArray
    lanes: IntArray  # channels of ports: port · 16 + channel
    numbers: IntArray  # keys or controllers
    values: IntArray  # velocities, bends, programs, or what else a message sets
    track_names: tuple[str, ...]
    track_ends: IntArray

    def __len__(self) -> int:
        """Number of rows."""
        return len(self.which)

    def rows(self, first: int, last: int) -> IntArray:
        """Rows of the kinds from `first` to `last`, in order."""
        return ((self.kinds >= first) & (self.kinds <= last)).nonzero()[0]

    def pick(self, rows: IntArray) -> Messages:
        """The messages of the given rows."""
        return [self.different[number] for number in self.which[rows].tolist()]


def stream_of_bytes(data: bytes, name: str) -> tuple[Stream, tuple[Remark, ...]]:
    """Messages of a Standard MIDI File, and what had to be mended in it (nothing in a sound file).

    Raises `InputError` where there is nothing to play.
    """
    repaired = repair(data, name=name)
    if repaired.format == 2:
        raise InputError(f"{name}: a file of independent patterns (format 2) has no one playing order")
    parsed = parse(repaired)
    ticks, which = (np.concatenate(columns) for columns in zip(*parsed.tracks, strict=True))
    lengths = np.array([len(track) for track, _ in parsed.tracks])
    track_ends = ticks[lengths.cumsum() - 1]
    per_quarter = quarter_ticks(repaired.division)
    stream = _merged(repaired.format, per_quarter, parsed.messages, which, ticks, lengths, track_ends)
    return stream, tuple(repaired.remarks)


def stream_of_score(score: Score) -> Stream:
    """Messages of an already read score."""
    different, which = distinct_messages([message for track in score.tracks for message in track.messages])
    ticks = np.concatenate([track.ticks for track in score.tracks])
    lengths = np.array([len(track.ticks) for track in score.tracks])
    track_ends = np.array([track.end_tick for track in score.tracks])
    return _merged(score.format, score.clock.ticks_per_quarter, different, which, ticks, lengths, track_ends)


def quarter_ticks(division: int) -> float:
    """Ticks per quarter of a header's division word; SMPTE divisions run at 120 to the minute."""
    if division > 0:
        return float(division)
    frames, ticks_per_frame = -(division >> 8), division & 0xFF
    frames_per_second = 30000 / 1001 if frames == 29 else frames  # 29 is the 30 drop-frame rate
    return frames_per_second * ticks_per_frame / 2.0


def _merged(
    format_: int,
    per_quarter: float,
    messages: Messages,
    which: IntArray,
    ticks: IntArray,
    lengths: IntArray,
    track_ends: IntArray,
) -> Stream:
    """The messages that stand in the tracks one after another, of so many messages each, in playing order."""
    fields = chain.from_iterable(_FIELDS.get(message.type, _fields_of_meta)(message) for message in messages)
    kinds, channels, numbers, values = np.fromiter(fields, np.int64).reshape(-1, 4).T[:, which]
    of_track = np.arange(len(lengths)).repeat(lengths)
    metas = (kinds == OTHER).nonzero()[0]
    told = list(zip(metas.tolist(), (messages[number] for number in which[metas].tolist()), strict=True))
    lanes = _ports(told, of_track) * CHANNELS_PER_PORT + channels
    order = ticks.argsort(kind="stable") if len(lengths) > 1 else slice(None)
    return Stream(
        format=format_,
        ticks_per_quarter=per_quarter,
        different=messages,
        which=which[order],
        ticks=ticks[order],
        tracks=of_track[order],
        kinds=kinds[order],
        lanes=lanes[order],
        numbers=numbers[order],
        values=values[order],
        track_names=_names(told, of_track, len(lengths)),
        track_ends=track_ends,
    )


def _fields_of_meta(_: mido.MetaMessage) -> _Fields:
    return OTHER, 0, 0, 0


def _ports(metas: Sequence[tuple[int, mido.MetaMessage]], tracks: IntArray) -> IntArray:
    """Port in force at each message (FF 21, a widespread convention outside the standard)."""
    told = [(row, message.port) for row, message in metas if message.type == "midi_port"]
    if not told:
        return np.zeros(len(tracks), dtype=np.int64)
    rows, values = np.array(told, dtype=np.int64).T
    last = np.searchsorted(rows, np.arange(len(tracks)), side="right") - 1
    result: IntArray = np.where((last >= 0) & (tracks[rows[last]] == tracks), values[last], 0)
    return result


def _names(metas: Sequence[tuple[int, mido.MetaMessage]], tracks: IntArray, count: int) -> tuple[str, ...]:
    """First name event of each track, "" for a track without one."""
    names: dict[int, str] = {}
    for row, message in metas:
        if message.type == "track_name":
            names.setdefault(int(tracks[row]), str(message.name))
    return tuple(names.get(track, "") for track in range(count))

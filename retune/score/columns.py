"""The one pass over the messages of a file: ticks of all events, notes as columns, and where the rest is."""

from __future__ import annotations

from collections import defaultdict
from itertools import accumulate, count
from typing import NamedTuple

import mido
import numpy as np
from numpy.typing import NDArray

from retune.constants import (
    CC_ALL_NOTES_OFF,
    CC_ALL_SOUND_OFF,
    CC_BANK_MSB,
    CC_DATA_MSB,
    CC_RESET_ALL_CONTROLLERS,
    CC_SOSTENUTO,
    CC_SUSTAIN,
    SELECTING_CONTROLLERS,
)
from retune.score.model import IntArray
from retune.score.parse import Parsed
from retune.score.resets import tells_parts

SETUP_CONTROLS = frozenset((CC_BANK_MSB, CC_DATA_MSB, *SELECTING_CONTROLLERS, CC_RESET_ALL_CONTROLLERS))
_PEDAL_CONTROLS = frozenset(
    (CC_SUSTAIN, CC_SOSTENUTO, CC_RESET_ALL_CONTROLLERS, CC_ALL_SOUND_OFF, CC_ALL_NOTES_OFF)
)
_SETTINGS = frozenset(("program_change", "set_tempo", "time_signature", "track_name", "midi_port"))
_NOTE, _CONTROL, _SETTING, _KIND = 1, 2, 3, 18  # kinds of events, and from which bit on a word holds them

EVENT_DTYPE = np.dtype(
    [
        ("tick", np.int64),
        ("track", np.int32),
        ("event", np.int32),  # index within the track
        ("port", np.int16),
        ("channel", np.int16),
        ("key", np.int16),  # of a note event; controller number of a controller event
        ("velocity", np.int16),  # 0 for a release; value of a controller event
    ]
)
"""Note events or controller events, ordered by (track, event)."""


class Columns(NamedTuple):
    """What one pass over the messages of a file finds; its rows are the events of all tracks, one track after another.

    The end-of-track events are among them.
    """

    first: IntArray  # (n_tracks + 1,) row with which each track begins, and the number of rows
    which: IntArray  # (n_rows,) the message of each event
    ticks: IntArray  # (n_rows,) absolute
    ports: IntArray  # (n_rows,) port in force at each event (FF 21, not in SMF 1.0); port 0 before the first
    notes: NDArray[np.void]  # EVENT_DTYPE, note-ons and note-offs
    controls: NDArray[np.void]  # EVENT_DTYPE, CC 64, 66, 120, 121, 123
    settings: list[int]  # rows of the events that name, time or set up something


def read_columns(parsed: Parsed) -> Columns:
    """Read the events of all tracks into columns."""
    ticks, which = (np.concatenate(columns) for columns in zip(*parsed.tracks, strict=True))
    first = np.array([0, *accumulate(len(track) for track, _ in parsed.tracks)], dtype=np.int64)
    words = np.array([_word(message) for message in parsed.messages], dtype=np.int64)[which]
    kinds = words >> _KIND
    settings = np.flatnonzero(kinds == _SETTING).tolist()
    ports = np.zeros(len(which), dtype=np.int64)
    for row, number in zip(settings, which[settings].tolist(), strict=True):
        if parsed.messages[number].type == "midi_port":
            end = first[np.searchsorted(first, row, side="right")]
            ports[row:end] = parsed.messages[number].port
    note, control = (
        _unpack(np.flatnonzero(kinds == kind), words, first, ticks, ports) for kind in (_NOTE, _CONTROL)
    )
    return Columns(first, which, ticks, ports, notes=note, controls=control, settings=settings)


def distinct_messages(messages: list[mido.Message]) -> tuple[list[mido.Message], IntArray]:
    """The different objects among messages, and which of them stands at each place, (n_messages,).

    What is read from a message need be read only once for all places where it stands.
    """
    numbers: defaultdict[int, int] = defaultdict(count().__next__)  # objects numbered as they come
    which = np.fromiter(map(numbers.__getitem__, map(id, messages)), np.int64, len(messages))
    return list(dict(zip(map(id, messages), messages, strict=True)).values()), which


def _word(message: mido.Message) -> int:
    """Kind, channel, key or controller, velocity or value; 0 for events that are neither noted nor set up."""
    kind = message.type
    if kind in ("note_on", "note_off"):
        return _packed(_NOTE, message.channel, message.note, message.velocity if kind == "note_on" else 0)
    if kind == "control_change" and message.control in _PEDAL_CONTROLS:
        return _packed(_CONTROL, message.channel, message.control, message.value)
    if kind == "sysex":
        return _packed(_SETTING) if tells_parts(message.data) else 0
    if kind in _SETTINGS or (kind == "control_change" and message.control in SETUP_CONTROLS):
        return _packed(_SETTING)
    return 0


def _packed(kind: int, channel: int = 0, key: int = 0, value: int = 0) -> int:
    return kind << _KIND | channel << 14 | key << 7 | value


def _unpack(
    rows: IntArray, words: IntArray, first: IntArray, ticks: IntArray, ports: IntArray
) -> NDArray[np.void]:
    table = np.empty(len(rows), dtype=EVENT_DTYPE)
    if not len(rows):
        return table
    track = first.searchsorted(rows, side="right") - 1
    table["tick"], table["port"] = ticks[rows], ports[rows]
    table["track"], table["event"] = track, rows - first[track]
    words = words[rows]
    table["channel"], table["key"], table["velocity"] = words >> 14 & 15, words >> 7 & 127, words & 127
    return table

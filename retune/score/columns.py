"""The one pass over a track's messages: ticks of all events, notes as columns, and where the rest is."""

from __future__ import annotations

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

SETUP_CONTROLS = frozenset((CC_BANK_MSB, CC_DATA_MSB, *SELECTING_CONTROLLERS, CC_RESET_ALL_CONTROLLERS))
_PEDAL_CONTROLS = frozenset(
    (CC_SUSTAIN, CC_SOSTENUTO, CC_RESET_ALL_CONTROLLERS, CC_ALL_SOUND_OFF, CC_ALL_NOTES_OFF)
)
_SETTINGS = frozenset(("program_change", "sysex", "set_tempo", "time_signature", "track_name", "midi_port"))
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
    """What one pass over the messages of one track finds."""

    ticks: IntArray  # (n_messages,) absolute
    notes: NDArray[np.void]  # EVENT_DTYPE, note-ons and note-offs
    controls: NDArray[np.void]  # EVENT_DTYPE, CC 64, 66, 120, 121, 123
    settings: list[int]  # indices of the events that name, time or set up something
    ports: tuple[IntArray, IntArray]  # event indices and the port in force from each on; the first is -1


def read_columns(track: int, messages: list[mido.Message], ticks: IntArray) -> Columns:
    """Read the events of one track (index `track`) at their absolute ticks into columns."""
    different, which = distinct_messages(messages)
    words = np.array([_word(message) for message in different], dtype=np.int64)[which]
    kinds = words >> _KIND
    settings = np.flatnonzero(kinds == _SETTING).tolist()
    ports = _port_changes(messages, settings)
    note, control = (np.flatnonzero(kinds == kind) for kind in (_NOTE, _CONTROL))
    return Columns(
        ticks=ticks,
        notes=_unpack(track, note, words[note], ticks, ports),
        controls=_unpack(track, control, words[control], ticks, ports),
        settings=settings,
        ports=ports,
    )


def distinct_messages(messages: list[mido.Message]) -> tuple[list[mido.Message], IntArray]:
    """The different objects among messages, and which of them stands at each place, (n_messages,).

    What is read from a message need be read only once for all places where it stands.
    """
    different = dict(zip(map(id, messages), messages, strict=True))
    number = dict(zip(different, range(len(different)), strict=True))
    which = np.fromiter(map(number.__getitem__, map(id, messages)), np.int64, len(messages))
    return list(different.values()), which


def _word(message: mido.Message) -> int:
    """Kind, channel, key or controller, velocity or value; 0 for events that are neither noted nor set up."""
    kind = message.type
    if kind in ("note_on", "note_off"):
        return _packed(_NOTE, message.channel, message.note, message.velocity if kind == "note_on" else 0)
    if kind == "control_change" and message.control in _PEDAL_CONTROLS:
        return _packed(_CONTROL, message.channel, message.control, message.value)
    if kind in _SETTINGS or (kind == "control_change" and message.control in SETUP_CONTROLS):
        return _packed(_SETTING)
    return 0


def _packed(kind: int, channel: int = 0, key: int = 0, value: int = 0) -> int:
    return kind << _KIND | channel << 14 | key << 7 | value


def port_at(ports: tuple[IntArray, IntArray], events: IntArray) -> IntArray:
    """Port in force at each event index, from (event indices, ports) of the port events of a track."""
    result: IntArray = ports[1][np.searchsorted(ports[0], events, side="right") - 1]
    return result


def _port_changes(messages: list[mido.Message], settings: list[int]) -> tuple[IntArray, IntArray]:
    """Event indices and ports of the port events (FF 21, not in SMF 1.0); port 0 before them."""
    events = [i for i in settings if messages[i].type == "midi_port"]
    ports = [messages[i].port for i in events]
    return np.array([-1, *events], dtype=np.int64), np.array([0, *ports], dtype=np.int64)


def _unpack(
    track: int, event: IntArray, words: IntArray, ticks: IntArray, ports: tuple[IntArray, IntArray]
) -> NDArray[np.void]:
    table = np.empty(len(words), dtype=EVENT_DTYPE)
    table["tick"] = ticks[event]
    table["track"] = track
    table["event"] = event
    table["port"] = port_at(ports, event)
    table["channel"] = words >> 14 & 15
    table["key"] = words >> 7 & 127
    table["velocity"] = words & 127
    return table

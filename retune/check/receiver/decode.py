"""Bytes, or a score already read, to what a receiver sounds.

The receiver is a multitimbral one that follows the published standards: channel bend, RPN 0-6, MPE zones,
resets, pedals, ports, MIDI Tuning Standard tables, and MIDI 2.0 clip files. It knows nothing of how the file
was made.
"""

from __future__ import annotations

import mido
import numpy as np

from retune.arrays import distinct
from retune.check.receiver import clip, stream
from retune.check.receiver.curve import pitch_curve, sounding_ends
from retune.check.receiver.in_force import IS_KEPT, PRESSURE_OF_CHANNEL, PRESSURE_OF_NOTE, PROGRAM_AND_BANK
from retune.check.receiver.instruments import fill_in, percussion
from retune.check.receiver.pairing import pair_notes
from retune.check.receiver.sounding import (
    EVENT_DTYPE,
    HEARD_DTYPE,
    PARAMETER,
    IntArray,
    Sounding,
    Table,
)
from retune.check.receiver.state import (
    HEEDED_CONTROLLERS,
    PARAMETER_CONTROLLERS,
    Receiver,
)
from retune.check.receiver.stored import PACKET, SYSEX, Content, Stored
from retune.check.receiver.stream import Stream
from retune.check.receiver.system import is_heeded, is_only_tuning
from retune.check.receiver.timeline import Spans
from retune.constants import CHANNELS_PER_PORT
from retune.errors import Remark
from retune.score.model import Score

_HEEDED, _ENTER_PARAMETERS = (
    np.isin(np.arange(len(IS_KEPT)), numbers) for numbers in (HEEDED_CONTROLLERS, PARAMETER_CONTROLLERS)
)
_CODES = {
    stream.PROGRAM: PROGRAM_AND_BANK,
    stream.CHANNEL_PRESSURE: PRESSURE_OF_CHANNEL,
    stream.KEY_PRESSURE: PRESSURE_OF_NOTE,
}
_CODE_OF_KIND = np.array([_CODES.get(kind, 0) for kind in range(stream.KEY_PRESSURE + 1)])
ADDRESSING = frozenset({"end_of_track", "midi_port", "track_name", "channel_prefix"})
"""Meta events that say where things go; a retuned file may need others."""


def decode(data: bytes, *, name: str = "input") -> Sounding:
    """What a receiver sounds when it is given this file: Standard MIDI File or MIDI 2.0 clip.

    `name` is how messages call the file. Raises `InputError` if the bytes are neither.
    """
    if clip.is_clip(data):
        return clip.decode_clip(data, name=name)
    events, mended = stream.stream_of_bytes(data, name)
    return _sounding(events, mended)


def decode_score(score: Score) -> Sounding:
    """The same for a score already read, without parsing its bytes again."""
    return _sounding(stream.stream_of_score(score))


def _sounding(events: Stream, remarks: tuple[Remark, ...] = ()) -> Sounding:
    """Run all events through a receiver."""
    places = len(events) + 2  # the last place is the end of the file
    end_tick = int(max(events.track_ends.max(initial=0), events.ticks.max(initial=0)))
    ticks_of_place = np.concatenate((events.ticks, (end_tick, end_tick)))
    receiver = Receiver(int(events.lanes.max(initial=0)) // CHANNELS_PER_PORT + 1, places)
    channel_events, stored = _feed(receiver, events)
    notes, spans = _notes(receiver, events, ticks_of_place)
    return Sounding(
        format=events.format,
        ticks_per_quarter=events.ticks_per_quarter,
        notes=notes,
        curve=pitch_curve(receiver, spans, ticks_of_place),
        in_force=receiver.in_force.rows(spans, ticks_of_place, notes["release_tick"]),
        events=channel_events,
        stored=stored,
        track_names=events.track_names,
        end_tick=end_tick,
        has_own_tuning=receiver.moves_pitch,
        remarks=remarks,
    )


def _feed(receiver: Receiver, events: Stream) -> tuple[Table, Stored]:
    """Give the receiver everything but notes; returns channel events and stored events."""
    rows = events.rows(stream.CONTROL, stream.KEY_PRESSURE)
    kinds, numbers = events.kinds[rows], events.numbers[rows]
    codes = np.where(kinds == stream.CONTROL, numbers, _CODE_OF_KIND[kinds])
    stored, sysex_rows = _stored(events)
    _run(receiver, events, np.sort(np.concatenate((rows[_HEEDED[codes]], sysex_rows))))
    bends = events.rows(stream.BEND, stream.BEND)
    receiver.bend.extend(events.lanes[bends], bends, events.values[bends])
    for code in distinct(codes[IS_KEPT[codes]]).tolist():
        mine = rows[codes == code]
        lanes = events.lanes[mine]
        if code == PRESSURE_OF_NOTE:
            lanes = lanes * 128 + events.numbers[mine]
        told = receiver.program if code == PROGRAM_AND_BANK else receiver.in_force.timeline(code)
        told.extend(lanes, mine, events.values[mine])
    receiver.freeze()
    table = _channel_events(events, rows[~_ENTER_PARAMETERS[codes]])
    if receiver.parameters:
        table = np.concatenate([table, _parameters(receiver, events)])
        table = table[np.argsort(table["tick"], kind="stable")]
    return table, stored


def _stored(events: Stream) -> tuple[Stored, IntArray]:
    """The meta and sysex events to be kept, and the rows of sysex events that a receiver obeys."""
    rows = events.rows(stream.SYSEX, stream.OTHER)
    kept, heeded = (np.zeros(len(events.different), bool) for _ in range(2))
    number = np.zeros(len(events.different), np.int64)
    contents: list[Content] = []
    for k in distinct(events.which[rows]).tolist():
        message = events.different[k]
        heeded[k] = message.type == "sysex" and is_heeded(message.data)
        kept[k] = message.type not in ADDRESSING and not (heeded[k] and is_only_tuning(message.data))
        if kept[k]:
            number[k] = len(contents)
            contents.append(_content(message))
    mine = rows[kept[events.which[rows]]]
    stored = Stored(events.ticks[mine], events.tracks[mine], number[events.which[mine]], tuple(contents))
    return stored, rows[heeded[events.which[rows]]]


def _run(receiver: Receiver, events: Stream, rows: IntArray) -> None:
    """Walk through the few events that need thought."""
    columns = (rows, *(column[rows] for column in (events.lanes, events.numbers, events.values)))
    values = zip(*(column.tolist() for column in columns), strict=True)
    for message, (row, lane, number, value) in zip(events.pick(rows), values, strict=True):
        if message.type == "sysex":
            receiver.sysex(row, lane // CHANNELS_PER_PORT, message.data)
        else:
            receiver.control(row, lane, number, value)


def _content(message: mido.Message | mido.MetaMessage) -> Content:
    """Type and values of a meta or sysex event, as something that can be compared and counted."""
    if message.type == "sysex":
        return SYSEX, bytes(message.data)
    if message.type == "sysex_packet":
        return PACKET, message.status, message.data
    values = [
        (name, tuple(value) if isinstance(value, list) else value)
        for name, value in vars(message).items()
        if name not in ("type", "time")
    ]
    return (message.type, *sorted(values))


def _channel_events(events: Stream, rows: IntArray) -> Table:
    """EVENT_DTYPE rows of channel messages that are neither notes nor bends."""
    table = np.empty(len(rows), dtype=EVENT_DTYPE)
    table["tick"], table["track"] = events.ticks[rows], events.tracks[rows]
    table["kind"] = events.kinds[rows] - stream.CONTROL
    table["channel"] = events.lanes[rows] % CHANNELS_PER_PORT
    table["number"], table["value"] = events.numbers[rows], events.values[rows]
    return table


def _parameters(receiver: Receiver, events: Stream) -> Table:
    """EVENT_DTYPE rows of the parameters that carry something other than tuning."""
    table = np.zeros(len(receiver.parameters), dtype=EVENT_DTYPE)
    places, lanes, numbers, values = (np.array(part) for part in zip(*receiver.parameters, strict=True))
    table["tick"], table["track"] = events.ticks[places], events.tracks[places]
    table["channel"], table["kind"] = lanes % CHANNELS_PER_PORT, PARAMETER
    table["number"], table["value"] = numbers, values
    return table


def _notes(receiver: Receiver, events: Stream, ticks_of_place: IntArray) -> tuple[Table, Spans]:
    """The notes, and where they lie in the file."""
    rows = events.rows(stream.NOTE_ON, stream.NOTE_OFF)
    keys, velocities, lanes = events.numbers[rows], events.values[rows], events.lanes[rows]
    starts = np.where((events.kinds[rows] == stream.NOTE_ON) & (velocities > 0), 1, -1)
    voices = events.tracks[rows] * (int(lanes.max(initial=0)) + 1) + lanes
    releases = pair_notes(voices * 128 + keys, starts)
    begun = np.flatnonzero(starts > 0)
    released = releases >= 0
    on = rows[begun]
    last = len(events)
    off = np.where(released, rows[releases], last)
    lanes, keys = lanes[begun], keys[begun]
    track_ends = events.track_ends[events.tracks[on]]
    release_ticks = np.where(released, events.ticks[rows[releases]] if len(rows) else 0, track_ends)
    if receiver.all_off.changes and not released.all():
        silenced = np.where(released, -1, receiver.all_off.next_below(lanes, on, 0.5))
        off = np.where(silenced >= 0, silenced, off)
        release_ticks = np.where(silenced >= 0, ticks_of_place[silenced], release_ticks)
    end = sounding_ends(receiver, lanes, on, off, last)
    end_ticks = np.where(end == off, release_ticks, ticks_of_place[end])
    notes = np.zeros(len(on), dtype=HEARD_DTYPE)
    notes["onset_tick"], notes["release_tick"] = events.ticks[on], release_ticks
    notes["sounding_end_tick"] = end_ticks
    notes["key"], notes["velocity"] = keys, velocities[begun]
    plain = events.kinds[rows] == stream.NOTE_OFF  # a note-on of velocity 0 counts as velocity 64 (p. A-1)
    notes["release_velocity"] = np.where(released & plain[releases], velocities[releases], 64)
    notes["track"] = events.tracks[on]
    notes["unreleased"] = ~released
    drums = percussion(receiver, lanes, on, events.ticks)
    spans = Spans(lanes, keys, on, off, end, end_ticks, drums, receiver.managers(lanes, on))
    fill_in(notes, receiver, spans)
    notes["known_until_tick"] = np.iinfo(np.int64).max
    if receiver.manager.changes:
        until = np.maximum(off, end)  # in mono mode a note may end before its key is up
        known, changes = receiver.manager.between(lanes, on, until)
        np.minimum.at(notes["known_until_tick"], known, events.ticks[changes])
    return notes, spans

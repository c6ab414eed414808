"""MIDI 2.0 clip files to what a receiver sounds, with pitch carried by each note.

Section numbers are those of M2-104-UM v1.1.2 (UMP Format and MIDI 2.0 Protocol).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from retune.check.receiver.channel import TUNING_PARAMETERS, start_of
from retune.check.receiver.curve import pitch_curve, sounding_ends
from retune.check.receiver.in_force import PARAMETERS, PRESSURE_OF_CHANNEL, PRESSURE_OF_NOTE
from retune.check.receiver.instruments import fill_in, percussion
from retune.check.receiver.packets import (
    FLEX,
    MIDI1_VOICE,
    MIDI2_VOICE,
    SYSEX7,
    SYSTEM_MESSAGE,
    flex_text,
    is_clip,
    read_clip,
    sysex7_bytes,
)
from retune.check.receiver.pairing import pair_notes
from retune.check.receiver.per_note import PerNote
from retune.check.receiver.sounding import (
    CHANNEL_PRESSURE,
    CONTROL,
    EVENT_DTYPE,
    HEARD_DTYPE,
    KEY_PRESSURE,
    PARAMETER,
    PROGRAM,
    IntArray,
    Sounding,
    Table,
)
from retune.check.receiver.state import HEEDED_CONTROLLERS, Receiver
from retune.check.receiver.stored import SYSEX, SYSTEM, Collector
from retune.check.receiver.timeline import Spans
from retune.constants import (
    BEND_CENTRE,
    CHANNELS_PER_PORT,
    RPN_BEND_RANGE,
    RPN_COARSE_TUNING,
    RPN_FINE_TUNING,
    RPN_MPE_CONFIGURATION,
    RPN_TUNING_BANK,
    RPN_TUNING_PROGRAM,
    SYSTEM_BYTES,
)

__all__ = ["decode_clip", "is_clip"]

CENTRE_32 = 1 << 31
PITCH_7_9 = 3  # attribute type of a note-on, 7.4.15.3
PITCH_7_25 = 3  # registered per-note controller, 7.4.15.2
PER_NOTE_RANGE = (0, 7)  # registered controller, 7.4.13
DETACH, RESET = 2, 1  # flags of per-note management, 7.4.5
_TEXT_BANKS = (1, 2)  # metadata and performance texts of flex data, 7.5
_TEMPO, _METER, _KEY = 0, 1, 5  # status of flex data in bank 0, 7.5


@dataclass(slots=True)
class _Reading:
    """What has been taken from the packets so far."""

    receiver: Receiver
    per_note: PerNote
    notes: list[tuple[int, int, int, int, int, int]] = field(default_factory=list)
    # place, lane, key, step (1 on, -1 off), velocity, pitch 7.9 or -1
    events: list[tuple[int, int, int, int, int, int]] = field(default_factory=list)  # EVENT_DTYPE
    stored: Collector = field(default_factory=Collector)
    sysex: dict[int, bytearray] = field(default_factory=dict)
    text: dict[int, bytearray] = field(default_factory=dict)
    pressed_keys: list[tuple[int, int]] = field(default_factory=list)  # row of `events`, key it is for
    presses: list[tuple[int, int, int]] = field(
        default_factory=list
    )  # row of `events`, place, lane · 128 + key


def decode_clip(data: bytes, *, name: str = "input") -> Sounding:
    """What a receiver sounds of a clip file. Raises `InputError` where the file breaks the format."""
    clip = read_clip(data, name)
    places = len(clip.ticks) + 2
    reading = _Reading(Receiver(clip.n_groups, places), PerNote(places))
    for place, (tick, packet) in enumerate(clip.packets()):
        _take(reading, place, tick, packet)
    reading.receiver.freeze()
    ticks_of_place = np.append(np.array(clip.ticks, dtype=np.int64), [clip.end_tick] * 2)
    notes, curve, in_force = _notes(reading, ticks_of_place)
    events = np.array(reading.events, dtype=EVENT_DTYPE)
    for row, key in reading.pressed_keys:
        events["number"][row] = key
    return Sounding(
        format=2,
        ticks_per_quarter=float(clip.ticks_per_quarter),
        notes=notes,
        curve=curve,
        in_force=in_force,
        events=events,
        stored=reading.stored.stored(),
        track_names=(),
        end_tick=clip.end_tick,
        has_own_tuning=bool((curve["cents"] != 0).any()),
    )


def _take(reading: _Reading, place: int, tick: int, packet: tuple[int, ...]) -> None:
    kind, group = packet[0] >> 28, packet[0] >> 24 & 0xF
    if kind == MIDI2_VOICE:
        _voice(reading, place, tick, packet)
    elif kind == SYSTEM_MESSAGE:
        message = packet[0].to_bytes(4, "big")[1:]
        reading.stored.add(tick, (SYSTEM, message[: SYSTEM_BYTES.get(message[0], 1)]))
    elif kind == MIDI1_VOICE:
        _old_voice(reading, place, tick, packet[0])
    elif kind == SYSEX7:
        part, data = sysex7_bytes(packet)
        whole = reading.sysex.setdefault(group, bytearray())
        if part in (0, 1):
            whole.clear()
        whole.extend(data)
        if part in (0, 3) and not reading.receiver.sysex(place, group, tuple(whole)):
            reading.stored.add(tick, (SYSEX, bytes(whole)))
    elif kind == FLEX:
        _flex(reading, tick, packet)


def _voice(reading: _Reading, place: int, tick: int, packet: tuple[int, ...]) -> None:
    """A MIDI 2.0 channel voice message (7.4)."""
    word, data = packet[0], packet[1]
    status, channel, first, second = word >> 20 & 0xF, word >> 16 & 0xF, word >> 8 & 0x7F, word & 0xFF
    lane = (word >> 24 & 0xF) * CHANNELS_PER_PORT + channel
    receiver, per_note = reading.receiver, reading.per_note
    if status == 0x9:
        pitch = data & 0xFFFF if second == PITCH_7_9 else -1
        reading.notes.append((place, lane, first, 1, max(data >> 25, 1), pitch))
    elif status == 0x8:
        reading.notes.append((place, lane, first, -1, data >> 25, -1))
    elif status == 0x0 and second == PITCH_7_25:
        per_note.pitch.add(lane * 128 + first, place, data / (1 << 25))
    elif status == 0x6:
        per_note.bend.add(lane * 128 + first, place, (data - CENTRE_32) / CENTRE_32)
    elif status == 0xF:
        per_note.manage(lane * 128 + first, place, detach=bool(second & DETACH), reset=bool(second & RESET))
    elif status == 0xE:
        receiver.bend.add(lane, place, (data - CENTRE_32) / CENTRE_32 * BEND_CENTRE)
    elif status == 0x2:
        _registered(reading, place, tick, lane, (first, second), data)
    elif status in (0x3, 0x4, 0x5):
        _other_parameter(reading, place, tick, lane, status, (first, second), data)
    elif status == 0xB:
        _control(reading, place, tick, lane, first, data >> 25)
    elif status == 0xC:
        receiver.program.add(lane, place, data >> 24 & 0x7F)
        if second & 1:
            _control(reading, place, tick, lane, 0, data >> 8 & 0x7F)
            _control(reading, place, tick, lane, 32, data & 0x7F)
        reading.events.append((tick, 0, channel, PROGRAM, 0, data >> 24 & 0x7F))
    elif status in (0xA, 0xD):
        code = KEY_PRESSURE if status == 0xA else CHANNEL_PRESSURE
        key_lane = lane * 128 + first
        if status == 0xA:
            receiver.in_force.add(PRESSURE_OF_NOTE, key_lane, place, data >> 25)
            reading.presses.append((len(reading.events), place, key_lane))
        else:
            receiver.in_force.add(PRESSURE_OF_CHANNEL, lane, place, data >> 25)
        reading.events.append((tick, 0, channel, code, first, data >> 25))


def _registered(
    reading: _Reading, place: int, tick: int, lane: int, number: tuple[int, int], data: int
) -> None:
    """A registered controller: MIDI 1.0's RPN in one message (7.4.7)."""
    receiver = reading.receiver
    if number == RPN_BEND_RANGE:
        receiver.set_range(place, lane, 100.0 * (data >> 25) + (data >> 18 & 0x7F))
    elif number == PER_NOTE_RANGE:
        reading.per_note.range.add(lane, place, 100.0 * data / (1 << 25))
        _other_parameter(reading, place, tick, lane, 0x2, number, data)
    elif number == RPN_FINE_TUNING:
        receiver.channels[lane].fine_cents = (data - CENTRE_32) / CENTRE_32 * 100.0
        receiver.retune(place, lane)
    elif number == RPN_COARSE_TUNING:
        receiver.channels[lane].coarse_cents = ((data >> 25) - 64) * 100.0
        receiver.retune(place, lane)
    elif number in (RPN_TUNING_PROGRAM, RPN_TUNING_BANK):
        bank, program = receiver.channels[lane].tuning
        value = data >> 25
        receiver.channels[lane].tuning = (bank, value) if number == RPN_TUNING_PROGRAM else (value, program)
        receiver.tables.select(place, lane, *receiver.channels[lane].tuning)
    elif number != RPN_MPE_CONFIGURATION:  # it carries tuning, in files too, and is no event of its own
        _other_parameter(reading, place, tick, lane, 0x2, number, data)


def _other_parameter(
    reading: _Reading, place: int, tick: int, lane: int, status: int, number: tuple[int, int], data: int
) -> None:
    """A parameter that is not about pitch: registered (2) or assignable (3), in relative form (4, 5; 7.4.8)."""
    registered, value = status in (0x2, 0x4), data >> 18
    if registered and number in TUNING_PARAMETERS:
        return  # a step of what has no smaller unit than itself
    entered = reading.receiver.channels[lane].data  # a device reset clears it
    if status in (0x4, 0x5):
        step = (data - (1 << 32) if data >> 31 else data) >> 18
        high, low = entered.get((registered, number), start_of((registered, number)))
        value = min(max((high << 7 | low) + step, 0), (1 << 14) - 1)
    entered[registered, number] = [value >> 7, value & 127]
    parameter = registered << 14 | number[0] << 7 | number[1]
    reading.receiver.in_force.add(PARAMETERS + parameter, lane, place, value)
    reading.events.append((tick, 0, lane % CHANNELS_PER_PORT, PARAMETER, parameter, value))


def _control(reading: _Reading, place: int, tick: int, lane: int, controller: int, value: int) -> None:
    if controller in HEEDED_CONTROLLERS:
        reading.receiver.control(place, lane, controller, value)
    reading.receiver.in_force.add(controller, lane, place, value)
    reading.events.append((tick, 0, lane % CHANNELS_PER_PORT, CONTROL, controller, value))


def _old_voice(reading: _Reading, place: int, tick: int, word: int) -> None:
    """A MIDI 1.0 channel voice message in a packet (7.3)."""
    status, channel, first, second = word >> 20 & 0xF, word >> 16 & 0xF, word >> 8 & 0x7F, word & 0x7F
    lane = (word >> 24 & 0xF) * CHANNELS_PER_PORT + channel
    if status == 0x9 and second:
        reading.notes.append((place, lane, first, 1, second, -1))
    elif status in (0x8, 0x9):
        reading.notes.append((place, lane, first, -1, second if status == 0x8 else 64, -1))
    elif status == 0xE:
        reading.receiver.bend.add(lane, place, (second << 7 | first) - BEND_CENTRE)
    elif status == 0xB:
        _control(reading, place, tick, lane, first, second)
    elif status == 0xC:
        reading.receiver.program.add(lane, place, first)
        reading.events.append((tick, 0, channel, PROGRAM, 0, first))
    elif status in (0xA, 0xD):
        row = (KEY_PRESSURE, first, second) if status == 0xA else (CHANNEL_PRESSURE, 0, first)
        reading.events.append((tick, 0, channel, *row))


def _flex(reading: _Reading, tick: int, packet: tuple[int, ...]) -> None:
    """Tempo, meter, key and texts."""
    bank, status, word = packet[0] >> 8 & 0xFF, packet[0] & 0xFF, packet[1]
    if bank in _TEXT_BANKS:
        part, data = flex_text(packet)
        whole = reading.text.setdefault(status, bytearray())
        if part in (0, 1):
            whole.clear()
        whole += data
        if part in (0, 3):
            reading.stored.add(tick, ("text", whole.decode("utf-8", "replace")))
    elif bank == 0 and status == _TEMPO:
        reading.stored.add(tick, ("set_tempo", ("tempo", round(word / 100))))  # 10 ns units
    elif bank == 0 and status == _METER:
        content = ("time_signature", word >> 24, 1 << (word >> 16 & 0xFF))
        reading.stored.add(tick, content)
    elif bank == 0 and status == _KEY:
        sharps = word >> 28
        reading.stored.add(tick, ("key_signature", sharps - 16 if sharps > 7 else sharps))


def _notes(reading: _Reading, ticks_of_place: IntArray) -> tuple[Table, Table, Table]:
    rows = np.array(reading.notes, dtype=np.int64).reshape(-1, 6)
    places, lanes, keys, steps, velocities, pitches = rows.T
    releases = pair_notes(lanes * 128 + keys, steps)
    begun, released = np.flatnonzero(steps > 0), releases >= 0
    last = len(ticks_of_place) - 2
    on = places[begun]
    off = np.where(released, places[releases] if len(rows) else 0, last)
    lanes, keys = lanes[begun], keys[begun]
    end = sounding_ends(reading.receiver, lanes, on, off, last)
    drums = percussion(reading.receiver, lanes, on, ticks_of_place)
    managers = reading.receiver.managers(lanes, on)
    spans = Spans(lanes, keys, on, off, end, ticks_of_place[end], drums, managers)
    notes = np.zeros(len(on), dtype=HEARD_DTYPE)
    fill_in(notes, reading.receiver, spans)
    reading.per_note.attach(spans, pitches[begun])
    curve = pitch_curve(reading.receiver, spans, ticks_of_place, reading.per_note)
    shift = reading.per_note.key_shift()
    curve["cents"] -= 100.0 * shift[curve["note"]]
    notes["onset_tick"], notes["release_tick"] = ticks_of_place[on], ticks_of_place[off]
    notes["sounding_end_tick"] = spans.end_ticks
    notes["key"], notes["velocity"] = keys + shift, velocities[begun]
    reading.pressed_keys = _pressed_keys(reading, spans, notes["key"])
    notes["release_velocity"] = np.where(released, velocities[releases] if len(rows) else 0, 64)
    notes["unreleased"] = ~released
    return notes, curve, reading.receiver.in_force.rows(spans, ticks_of_place, notes["release_tick"])


def _pressed_keys(reading: _Reading, spans: Spans, keys: IntArray) -> list[tuple[int, int]]:
    """Key pressure that is for a note whose number is a mere index: row of the event, and the note's key."""
    if not reading.presses or not len(spans.on):
        return []
    rows, places, indices = np.array(reading.presses, dtype=np.int64).T
    width = int(max(spans.off.max(initial=0), places.max())) + 1
    order = np.lexsort((spans.on, of_notes := spans.lanes * 128 + spans.keys))
    starts = of_notes[order] * width + spans.on[order]
    last = np.searchsorted(starts, indices * width + places, side="left") - 1  # the newest note of the index
    newest = order[last]
    fits = (last >= 0) & (of_notes[newest] == indices) & (spans.off[newest] > places)
    return list(zip(rows[fits].tolist(), keys[newest[fits]].tolist(), strict=True))

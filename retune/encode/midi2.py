"""Tuning by MIDI 2.0: a clip file in which every note has a pitch of its own.

M2-104-UM v1.1.2 (UMP and MIDI 2.0 Protocol), section numbers below. Parts stay on their channels; a port
becomes a group. Before its note-on a note gets per-note management and its pitch in semitones with 25
fractional bits (App. C.3). The key stays the note's own where it is free, else the note uses that of another
octave as a mere index.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from operator import itemgetter

import mido
import numpy as np

from retune.constants import (
    BANK_CONTROLLERS,
    BEND_CENTRE,
    CC_BANK_MSB,
    CC_DATA_DECREMENT,
    CC_DATA_INCREMENT,
    CC_RESET_ALL_CONTROLLERS,
    DATA_CONTROLLERS,
    DEFAULT_METER,
    SELECTING_CONTROLLERS,
)
from retune.encode import messages as build
from retune.encode.messages import is_reset
from retune.encode.model import Encoded, EncodedFile
from retune.encode.survey.instruments import BendState, Selection
from retune.encode.survey.parameters import STARTS, entered
from retune.encode.survey.raw_bytes import SYSEX, RawBytes
from retune.encode.survey.timeline import Timeline, read_timeline
from retune.encode.survey.wanted import Wanted, wanted_steps
from retune.encode.writing import packets as ump
from retune.encode.writing.clip_meta import meta_packets
from retune.encode.writing.packets import Packet
from retune.errors import OptionError, Remark
from retune.options import CLIP_SUFFIX, Options
from retune.score.model import Part, Score
from retune.score.packets import SysexPacket
from retune.tuning.model import Tuning

STEPS_PER_SEMITONE = 1 << 25  # pitch 7.25, 7.4.15.2; receivers may use nine bits only (0.1 cents)
HIGHEST_PITCH = (1 << 32) - 1
GROUPS = 16
KEYS = 128
_MOST_TICKS = 0xFFFF  # a quarter has 16 bits of ticks (CLIP 6)
_RPN_WITHOUT_SCALE = 18  # data entry is shifted up as it is: 14 bits of 32

_FIRST, _SECOND = -2, -1  # ranks before all others

Lane = tuple[int, int]
"""Group and channel."""

Task = tuple[int, int, Callable[[], Iterator[Packet]]]
"""Rank, tick and what makes the packets."""


def encode_midi2(score: Score, tuning: Tuning, options: Options) -> Encoded:
    """Encode as a MIDI 2.0 clip file."""
    timeline = read_timeline(score)
    n = len(score.notes)
    step = 100.0 / STEPS_PER_SEMITONE
    keys = score.notes["key"].astype(np.int64)
    reach = (-keys * STEPS_PER_SEMITONE, HIGHEST_PITCH - keys * STEPS_PER_SEMITONE)
    wanted = wanted_steps(tuning, n, np.full(n, step), reach)
    writer = _ClipWriter(score, timeline, wanted)
    data = writer.write()
    return Encoded(
        files=(EncodedFile(data=data, extension=CLIP_SUFFIX),),
        channels_used=len({writer.lane(part) for part in score.parts}),
        worst_error_cents=wanted.rounding_cents,
        remarks=writer.remarks(),
    )


@dataclass(slots=True)
class _Channel:
    """What the input has set on one channel, and which keys are taken or wanted for themselves."""

    state: BendState = field(default_factory=BendState)
    bank: tuple[int, int] | None = None
    values: dict[Selection, tuple[int, int]] = field(default_factory=dict)  # of parameters, as far as known
    down: set[int] = field(default_factory=set)  # key indices of notes not yet released
    pressed: set[int] = field(default_factory=set)  # keys that ever get key pressure
    tuned: set[int] = field(default_factory=set)  # key indices that have a pitch of their own
    index_user: dict[int, int] = field(default_factory=dict)  # key index -> note it was given to last


class _ClipWriter:
    """Turns the events of a score into packets, in playing order."""

    def __init__(self, score: Score, timeline: Timeline, wanted: Wanted) -> None:
        self.score, self.timeline, self.wanted = score, timeline, wanted
        self.channels: dict[Lane, _Channel] = {}
        self.index_of: dict[int, int] = {}  # note -> key index it was given
        self.left_out: dict[str, int] = {}
        self.first, self.values = wanted.first.tolist(), wanted.value.tolist()
        self.groups = groups_of_ports(score)
        of_part = [self.lane(part) for part in score.parts]
        self.lanes = [of_part[part] for part in score.notes["part"].tolist()]
        self.raw = RawBytes(partial(_count, self.left_out))  # not of itself: see retune.collector

    def lane(self, part: Part) -> Lane:
        """Where a part plays."""
        return self.groups[part.port], part.channel

    def write(self) -> bytes:
        """The file."""
        ticks_per_quarter = min(max(round(self.score.clock.ticks_per_quarter), 1), _MOST_TICKS)
        todo = [*self._head(ticks_per_quarter), *self._notes(), *self._moves(), *self._others()]
        todo.sort(key=itemgetter(0, 1))
        events = ((tick, packet) for _, tick, what in todo for packet in what())
        data = ump.write_clip(ticks_per_quarter, events, self.score.end_tick)
        self.raw.end()
        return data

    def remarks(self) -> tuple[Remark, ...]:
        """What a clip file has no place for."""
        return tuple(
            Remark(
                code="not-in-clip",
                message=f"a MIDI 2.0 clip has no place for {kind.replace('_', ' ')} events; {count} left out",
            )
            for kind, count in sorted(self.left_out.items())
        )

    def _head(self, ticks_per_quarter: int) -> Iterator[Task]:
        """Tempo and time signature of the start where the input has none: players want them first (CLIP 7)."""
        at_start = {
            message.type
            for track in self.score.tracks
            for message in track.messages[: int(np.searchsorted(track.ticks, 0, side="right"))]
        }
        clock = self.score.clock
        if clock.smpte or "set_tempo" not in at_start:
            quarter_us = float(clock.seconds_per_tick[0]) * ticks_per_quarter * 1e6
            yield _FIRST, 0, partial(iter, (ump.tempo(quarter_us),))
        if "time_signature" not in at_start:
            yield _SECOND, 0, partial(iter, (ump.time_signature(*DEFAULT_METER, 8),))

    def _notes(self) -> Iterator[Task]:
        notes, timeline = self.score.notes, self.timeline
        columns = (timeline.on, notes["onset_tick"], timeline.off, notes["release_tick"])
        for note, (on, start, off, stop) in enumerate(zip(*(c.tolist() for c in columns), strict=True)):
            yield on, start, partial(self._start, note, self.lanes[note])
            yield off, stop, partial(self._stop, note, self.lanes[note])

    def _others(self) -> Iterator[Task]:
        first = {"set_tempo": _FIRST, "time_signature": _SECOND}
        notes, timeline = self.score.notes, self.timeline
        makers: dict[tuple[int, int], Callable[[], Iterator[Packet]]] = {}  # by group and message, made once
        for number, track in enumerate(self.score.tracks):
            mine = notes[notes["track"] == number]
            is_note = np.zeros(len(track.messages), bool)
            is_note[mine["on_event"]] = is_note[mine["off_event"]] = True
            base, port = int(timeline.first_of_track[number]), 0
            for event in np.nonzero(~is_note)[0].tolist():
                message, tick = track.messages[event], int(track.ticks[event])
                if message.type == "midi_port":
                    port = message.port
                elif message.type == "polytouch":
                    self._channel((self.groups[port], message.channel)).pressed.add(message.note)
                rank = int(timeline.rank[base + event])
                rank = rank if tick else first.get(message.type, rank)
                if message.type == "sysex_packet":
                    yield rank, tick, partial(self._packet, self.groups[port], number, message)
                else:
                    key = (self.groups[port], id(message))
                    if key not in makers:
                        makers[key] = partial(self._other, self.groups[port], message)
                    yield rank, tick, makers[key]

    def _moves(self) -> Iterator[Task]:
        wanted = self.wanted
        note, tick, value = wanted.moves()
        _, rank = self.timeline.insertion_ranks(self.score, self.score.notes["track"][note], tick)
        columns = (rank, tick, note, value)
        for r, tick, k, value in zip(*(c.tolist() for c in columns), strict=True):
            yield r, tick, partial(self._move, k, self.lanes[k], value)

    # --- notes -------------------------------------------------------------------------------------

    def _channel(self, lane: Lane) -> _Channel:
        return self.channels.setdefault(lane, _Channel())

    def _start(self, note: int, lane: Lane) -> Iterator[Packet]:
        group, channel = lane
        state = self._channel(lane)
        key = int(self.score.notes["key"][note])
        index = self.index_of[note] = self._free_index(key, state, note)
        state.down.add(index)
        state.index_user[index] = note
        low, high = self.first[note], self.first[note + 1]
        value = self.values[low] if high > low else 0
        if value or index != key or index in state.tuned:
            state.tuned.add(index)
            yield ump.management(group, channel, index)
            yield ump.pitch(group, channel, index, key * STEPS_PER_SEMITONE + value)
        yield ump.note_on(group, channel, index, int(self.score.notes["velocity"][note]))

    def _free_index(self, key: int, state: _Channel, note: int) -> int:
        """A note number that is free, if may be one that never gets key pressure for itself."""
        for taken in (state.down | (state.pressed - {key}), state.down):
            if (index := free_index(key, taken)) not in taken:
                return index
        where = self.score.where(int(self.score.notes["onset_tick"][note]))
        raise OptionError(
            f"{where}: more than {KEYS} notes sound at once on a channel, and a MIDI 2.0 clip has so many numbers "
            "for them; use another --encoding"
        )

    def _stop(self, note: int, lane: Lane) -> Iterator[Packet]:
        row = self.score.notes[note]
        message, index = self.score.tracks[row["track"]].messages[row["off_event"]], self.index_of[note]
        velocity = message.velocity if message.type == "note_off" else 64  # MIDI 1.0 4.2.1 p. 10
        self._channel(lane).down.discard(index)
        yield ump.note_off(*lane, index, velocity)

    def _move(self, note: int, lane: Lane, value: int) -> Iterator[Packet]:
        index = self.index_of[note]
        state = self._channel(lane)
        if state.index_user[index] == note:  # else a later note has taken the index over
            state.tuned.add(index)
            key = int(self.score.notes["key"][note])
            yield ump.pitch(*lane, index, key * STEPS_PER_SEMITONE + value)

    # --- everything else -----------------------------------------------------------------------------

    def _other(self, group: int, message: mido.Message) -> Iterator[Packet]:
        kind = message.type
        if message.is_meta:
            packets = meta_packets(group, message, is_smpte=self.score.clock.smpte)
            if packets is None:
                _count(self.left_out, kind)
            yield from packets or ()
        elif kind == "sysex":
            if is_reset(message):
                self._reset(group)
            yield from ump.system_exclusive(group, bytes(message.data))
        elif kind == "control_change":
            yield from self._control(group, message)
        elif kind == "program_change":
            bank = self._channel((group, message.channel)).bank
            msb, lsb = bank or (0, 0)
            data = message.program << 24 | msb << 8 | lsb
            yield ump.voice(group, 0xC, message.channel, 0, bank is not None, data)
        elif kind == "pitchwheel":
            yield ump.voice(group, 0xE, message.channel, 0, 0, (message.pitch + BEND_CENTRE) << 18)
        elif kind == "aftertouch":
            yield ump.voice(group, 0xD, message.channel, 0, 0, ump.scale_up(message.value, 7, 32))
        elif kind == "polytouch":
            data = ump.scale_up(message.value, 7, 32)
            for index in self._indices((group, message.channel), message.note):
                yield ump.voice(group, 0xA, message.channel, index, 0, data)
        elif kind == "note_off":
            pass  # a release too many: of no effect
        else:
            _count(self.left_out, kind)

    def _packet(self, group: int, track: int, message: SysexPacket) -> Iterator[Packet]:
        """A piece of a sysex, which is sent whole with its last piece, or an escape (SMF 2.3)."""
        for piece in self.raw.take(track, message):
            whole = piece[0] == SYSEX
            yield from ump.system_exclusive(group, piece[1:-1]) if whole else (ump.system(group, piece),)

    def _indices(self, lane: Lane, key: int) -> list[int]:
        """Key indices under which a key sounds, and the key itself unless it is in use for another key."""
        state, keys = self._channel(lane), self.score.notes["key"]
        found = [i for i in sorted(state.down) if int(keys[state.index_user[i]]) == key]
        return found if key in state.down else [*found, key]

    def _control(self, group: int, message: mido.Message) -> Iterator[Packet]:
        channel, number, value = message.channel, message.control, message.value
        state = self._channel((group, channel))
        if number in BANK_CONTROLLERS:
            msb, lsb = state.bank or (0, 0)
            state.bank = (value, lsb) if number == CC_BANK_MSB else (msb, value)
        elif number in SELECTING_CONTROLLERS:
            state.state.control(number, value)
        elif number in DATA_CONTROLLERS:
            yield from _parameter(group, channel, state, number, value)
        else:
            if number == CC_RESET_ALL_CONTROLLERS:
                state.state.control(number, value)
            yield ump.voice(group, 0xB, channel, number, 0, ump.scale_up(value, 7, 32))

    def _reset(self, group: int) -> None:
        """After a device reset every key may have a pitch that is not known."""
        for lane, state in self.channels.items():
            if lane[0] == group:
                state.state.reset()
                state.values.clear()
                state.bank = None
                state.tuned = set(range(128))


def groups_of_ports(score: Score) -> dict[int, int]:
    """The group of every port: of its own number, or one that is free; ports share only if there are too many."""
    found = {m.port for track in score.tracks for m in track.messages if m.type == "midi_port"}
    ports = sorted({0, *found, *(part.port for part in score.parts)})
    free = [group for group in range(GROUPS) if group not in ports]
    return {p: p if p < GROUPS else free.pop(0) if free else p % GROUPS for p in ports}


def free_index(key: int, down: set[int]) -> int:
    """The key itself, or one of another octave, or any that is not held down."""
    if key not in down:
        return key
    octaves = (key + 12 * sign * n for n in range(1, 11) for sign in (-1, 1))
    others = (key + sign * n for n in (*range(5, 128), 4, 3, 2, 1) for sign in (-1, 1))
    return next((k for k in (*octaves, *others) if 0 <= k < 128 and k not in down), key)


def _parameter(group: int, channel: int, state: _Channel, number: int, value: int) -> Iterator[Packet]:
    """Data entry as one registered (2) or assignable (3) controller message (7.4.7).

    A step from a value that is not known is relative (4, 5; 7.4.8).
    """
    selection = kind, (msb, lsb) = state.state.selection
    if not build.is_chosen(selection):
        return
    status = 2 if kind == "rpn" else 3
    known = state.values.get(selection, STARTS.get(selection))
    if known is None and number in (CC_DATA_INCREMENT, CC_DATA_DECREMENT):
        step = 1 if number == CC_DATA_INCREMENT else -1
        data = (step << _RPN_WITHOUT_SCALE) & 0xFFFFFFFF
        yield ump.voice(group, status + 2, channel, msb, lsb, data)
        return
    high, low = state.values[selection] = entered(selection, known or (0, 0), number, value)
    yield ump.voice(group, status, channel, msb, lsb, (high << 7 | low) << _RPN_WITHOUT_SCALE)


def _count(counts: dict[str, int], kind: str) -> None:
    counts[kind] = counts.get(kind, 0) + 1

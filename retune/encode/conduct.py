"""Writing tuned notes and everything else of the input onto the channels they were given.

One pass over what has to change, in playing order: note-ons (set-up and bend before them), moves of sounding
notes, and the channel messages of the input, which are copied to every channel their instrument uses at that
moment. Notes that stay on their own channel are not touched, nor is anything that is not a channel message.

A channel in silence is not kept up to date message by message: it is brought up to date before its next note.
The instrument's own channel always receives every message at its tick.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field

import mido

from retune.constants import (
    BEND_CENTRE,
    BEND_MAX,
    CC_ALL_NOTES_OFF,
    CC_ALL_SOUND_OFF,
    CC_RESET_ALL_CONTROLLERS,
    PEDAL_DOWN,
)
from retune.encode import messages as build
from retune.encode.lines import PRESSURE, Line, Voice
from retune.encode.messages import RPN_BEND_RANGE
from retune.encode.rewrite import TrackRewrite
from retune.encode.timeline import OtherEvent
from retune.score import moved
from retune.units import bend_step_cents

CC_PORTAMENTO_FROM = 84  # MIDI 1.0 Detailed Specification 4.2.1 p. 16
_PEDALS = frozenset((64, 65, 66, 67, 68, 69))
_TO_ALL_LINES = frozenset((CC_ALL_SOUND_OFF, CC_RESET_ALL_CONTROLLERS, CC_ALL_NOTES_OFF, 124, 125, 126, 127))
_SELECTS = frozenset((98, 99, 100, 101))
_DATA_ENTRY = frozenset((6, 38, 96, 97))


@dataclass(frozen=True, slots=True)
class Place:
    """Where a message goes: before the event at `position` of the input's track."""

    tick: int
    track: int
    position: int


@dataclass(slots=True)
class Conductor:
    """Sends what each channel needs when it needs it."""

    tracks: list[TrackRewrite]
    voices: dict[tuple[int, int], Voice]  # by port and channel of the input
    lines: list[Line]
    next_line: dict[int, tuple[list[int], list[int]]] = field(
        default_factory=dict
    )  # voice -> note-on ranks, lines
    _keys: dict[tuple[int, int], list[tuple[int, Line]]] = field(default_factory=dict)

    def tune(self, line: Line, voice: Voice, value: int, place: Place) -> None:
        """Make a channel ready for a note of `voice` tuned to `value` steps, or move one that sounds."""
        if line.stale or line.owner is not voice:
            self._agree(line, voice, place)
        line.target = value
        total = self._total(line, voice)
        sent_tick, sent_track = line.bend_sent
        if total != line.bend or (sent_tick == place.tick and sent_track != place.track):
            self._bend(line, total, place)

    def remember_key(self, voice: Voice, key: int, until: int, line: Line) -> None:
        """Note where a key sounds, so that poly pressure can follow it."""
        self._keys.setdefault((voice.instrument.index, key), []).append((until, line))

    def prepare(self, voice: Voice, lines: Iterable[Line], place: Place) -> None:
        """Set up channels ahead of their first notes."""
        for line in lines:
            self._agree(line, voice, place)

    def pass_on(self, event: OtherEvent) -> None:
        """A channel message of the input, or a device reset."""
        after = Place(event.tick, event.track, event.index + 1)
        if event.channel < 0:
            self._device_reset(event.port, after)
            return
        voice = self.voices.get((event.port, event.channel))
        if voice is None:
            return
        message, kind = event.message, event.message.type
        if kind == "control_change":
            self._control(voice, event, message, after)
        elif kind == "pitchwheel":
            voice.bend.value = message.pitch
            self._input_bend(voice, event, after)
        elif kind == "program_change":
            voice.program = (*voice.bank, message.program)
            voice.home.program = voice.program
            for line in self._copies(voice, event.tick):
                self._send(line.agree_on_program(voice), line, after)
        elif kind == "aftertouch":
            self._setting(voice, PRESSURE, message.value, message, after)
        elif kind == "polytouch":
            self._follow_key(voice, event, after)
        if voice.home.owner is not voice:
            self._restore_guest(voice.home, after)

    def _control(self, voice: Voice, event: OtherEvent, message: mido.Message, after: Place) -> None:
        number, value = message.control, message.value
        if number in (build.CC_BANK_MSB, build.CC_BANK_LSB):
            voice.bank = (value, voice.bank[1]) if number == build.CC_BANK_MSB else (voice.bank[0], value)
        elif number in _SELECTS:
            voice.bend.control(number, value)
        elif number in _DATA_ENTRY:
            self._data_entry(voice, event, number, value, after)
        elif number in _TO_ALL_LINES:
            self._mode(voice, number, message, after)
        elif number == CC_PORTAMENTO_FROM:
            self._to_next_note(voice, event, after)
        else:
            self._setting(voice, number, value, message, after)

    def _setting(self, voice: Voice, number: int, value: int, message: mido.Message, after: Place) -> None:
        """A controller or pressure: to every channel that sounds, later to the others."""
        voice.settings[number] = value
        voice.home.settings[number] = value
        for line in voice.lines:
            if line is voice.home or line.owner is not voice:
                continue
            lifts = number in _PEDALS and value < PEDAL_DOWN <= line.settings.get(number, 0)
            if lifts or line.ringing_until >= after.tick:
                line.settings[number] = value
                self._insert(line, moved(message, line.channel), after)
            else:
                line.stale = True

    def _mode(self, voice: Voice, number: int, message: mido.Message, after: Place) -> None:
        if number == CC_RESET_ALL_CONTROLLERS:
            voice.bend.control(number, 0)
            voice.reset_controllers()
            voice.home.reset_controllers()
        for line in voice.lines:
            if line.owner is not voice:
                continue
            if line is not voice.home:
                self._insert(line, moved(message, line.channel), after)
            if number == CC_RESET_ALL_CONTROLLERS:
                line.reset_controllers()
                if line.ringing_until >= after.tick:
                    self._bend_if_changed(line, voice, after)

    def _data_entry(self, voice: Voice, event: OtherEvent, number: int, value: int, after: Place) -> None:
        selection = voice.bend.selection
        if selection == ("rpn", RPN_BEND_RANGE):
            self._input_range(voice, event, number, value, after)
            return
        if selection[1] == build.RPN_NULL:
            return
        data = [] if number == build.CC_DATA_MSB else voice.parameters.get(selection, [])
        voice.parameters[selection] = [*data, (number, value)]
        voice.home.parameters[selection] = list(voice.parameters[selection])
        for line in self._copies(voice, event.tick):
            line.parameters[selection] = list(voice.parameters[selection])
            kind, parameter = selection
            group = build.set_parameter(
                line.channel, parameter, ((number, value),), kind=kind, then=line.selection
            )
            self._send(group, line, after)

    def _input_range(self, voice: Voice, event: OtherEvent, number: int, value: int, after: Place) -> None:
        """The input sets a bend range: the file keeps its own range, and the bends in force change size."""
        voice.bend.control(number, value)
        if not voice.range_semitones:
            voice.home.range_semitones = None
            return
        ours = voice.range_semitones if number == build.CC_DATA_MSB else 0
        self._replace(
            event, build.control(event.channel, build.CC_DATA_MSB if ours else build.CC_DATA_LSB, ours)
        )
        if ours:
            voice.home.range_semitones = ours
        for line in voice.lines:
            if line.owner is voice and line.ringing_until >= event.tick:
                self._bend_if_changed(line, voice, after)

    def _input_bend(self, voice: Voice, event: OtherEvent, after: Place) -> None:
        for line in voice.lines:
            if line is voice.home or line.owner is not voice:
                continue
            if line.ringing_until >= event.tick:
                self._bend_if_changed(line, voice, after)
        home = voice.home
        if not voice.range_semitones or home.owner is not voice:
            home.bend = BEND_CENTRE + event.message.pitch
            return
        home.bend = self._total(home, voice)
        home.bend_sent = (event.tick, event.track)
        self._replace(event, build.bend(event.channel, home.bend))

    def _follow_key(self, voice: Voice, event: OtherEvent, after: Place) -> None:
        """Poly pressure goes where its key sounds; without such a note it stays where it is."""
        key = (voice.instrument.index, event.message.note)
        sounding = [(until, line) for until, line in self._keys.get(key, ()) if until >= event.tick]
        self._keys[key] = sounding
        lines = list({line.number: line for _, line in sounding}.values())
        if not lines:
            return
        self._replace(event, moved(event.message, lines[0].channel))
        for line in lines[1:]:
            self._insert(line, moved(event.message, line.channel), after)

    def _to_next_note(self, voice: Voice, event: OtherEvent, after: Place) -> None:
        ranks, lines = self.next_line.get(voice.instrument.index, ([], []))
        k = bisect_right(ranks, event.rank)
        if k < len(ranks) and self.lines[lines[k]] is not voice.home:
            self._replace(event, moved(event.message, self.lines[lines[k]].channel))

    def _device_reset(self, port: int, after: Place) -> None:
        """Bends and ranges are gone; channels that sound are set up again at once."""
        for (voice_port, _), voice in self.voices.items():
            if voice_port == port:
                voice.reset()
        for line in self.lines:
            line.reset()
        for line in self.lines:
            if line.owner is not None and line.sounding_until > after.tick:
                self._agree(line, line.owner, after)
                self._bend_if_changed(line, line.owner, after)

    def _restore_guest(self, line: Line, after: Place) -> None:
        """An event of the channel's owner passed while another instrument uses it: undo its effect there."""
        line.stale = True
        if line.owner is not None and line.sounding_until > after.tick:
            self._agree(line, line.owner, after)
            self._bend_if_changed(line, line.owner, after)

    def _copies(self, voice: Voice, tick: int) -> list[Line]:
        """Channels other than the instrument's own that still sound; those in silence are marked."""
        sounding = []
        for line in voice.lines:
            if line is not voice.home and line.owner is voice:
                if line.ringing_until >= tick:
                    sounding.append(line)
                else:
                    line.stale = True
        return sounding

    def _agree(self, line: Line, voice: Voice, place: Place) -> None:
        if line not in voice.lines:
            voice.lines.append(line)
        self._send(line.agree_with(voice), line, place)

    def _total(self, line: Line, voice: Voice) -> int:
        """Bend value for the tuning in force and the input's own bend."""
        steps = line.target
        if voice.bend.value:
            steps = round(steps + voice.bend.cents / bend_step_cents(voice.range_semitones))
        return min(max(BEND_CENTRE + steps, 0), BEND_MAX)

    def _bend_if_changed(self, line: Line, voice: Voice, place: Place) -> None:
        value = self._total(line, voice)
        if value != line.bend:
            self._bend(line, value, place)

    def _bend(self, line: Line, value: int, place: Place) -> None:
        line.bend, line.bend_sent = value, (place.tick, place.track)
        self._insert(line, build.bend(line.channel, value), place)

    def _send(self, group: Iterable[mido.Message], line: Line, place: Place) -> None:
        for message in group:
            self._insert(line, message, place)

    def _insert(self, line: Line, message: mido.Message, place: Place) -> None:
        if line.track < 0:
            self.tracks[place.track].insert(place.position, place.tick, message)
        else:
            further = self.tracks[line.track]
            further.insert(len(further.messages), place.tick, message)

    def _replace(self, event: OtherEvent, message: mido.Message) -> None:
        self.tracks[event.track].messages[event.index] = message

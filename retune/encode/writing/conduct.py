"""Writing tuned notes and everything else of the input onto the channels they were given.

One pass over what has to change, in playing order: note-ons (set-up and tuning before them), moves of
sounding notes, and the channel messages of the input, which are copied to every channel their instrument uses
at that moment. Notes that stay on their own channel are not touched, nor is anything that is not a channel
message.

A channel in silence is not kept up to date message by message: it is brought up to date before its next note.
The instrument's own channel always receives every message at its tick.

docs/existing-events.md tells the rule for each kind of event.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

import mido

from retune.constants import (
    BANK_CONTROLLERS,
    CC_ALL_NOTES_OFF,
    CC_ALL_SOUND_OFF,
    CC_BANK_MSB,
    CC_DATA_MSB,
    CC_RESET_ALL_CONTROLLERS,
    DATA_CONTROLLERS,
    PEDAL_DOWN,
    SELECTING_CONTROLLERS,
)
from retune.encode import messages as build
from retune.encode.survey.parameters import BEND, PRESSURE
from retune.encode.survey.timeline import OtherEvent
from retune.encode.writing.lines import Line, Voice
from retune.encode.writing.rewrite import FileRewrite, Place

CC_PORTAMENTO_FROM = 84  # next note-on of the channel: MIDI 1.0 Detailed Specification 4.2.1 p. 16
CC_VELOCITY_PREFIX = 88  # next note message of the channel: high resolution velocity, CA-031 (from memory)
CC_LOCAL_CONTROL = 122  # MIDI 1.0 Detailed Specification 4.2.1 p. 20
ONE_SHOT = frozenset((CC_PORTAMENTO_FROM, CC_VELOCITY_PREFIX))
_PEDALS = frozenset((64, 66, 67, 68, 69))  # GM2 3.3; 69 is hold 2 of MIDI 1.0
_TO_ALL_LINES = frozenset((CC_ALL_SOUND_OFF, CC_RESET_ALL_CONTROLLERS, CC_ALL_NOTES_OFF, 124, 125, 126, 127))

NextLine = Callable[[OtherEvent], Line | None]
"""The channel of the note message that a one-shot controller belongs to."""


class Conductor:
    """Sends what each channel needs when it needs it. Subclasses know how a channel is tuned."""

    def __init__(
        self,
        file: FileRewrite,
        voices: dict[int, Voice],
        lines: dict[int, Line],
        next_line: NextLine,
        *,
        port: int,
    ) -> None:
        """`voices` by channel of the input, `lines` by number of the lane; `port` of the input."""
        self.file, self.voices, self.lines, self.next_line, self.port = file, voices, lines, next_line, port
        self.sounding_keys: dict[tuple[int, int], list[tuple[int, Line]]] = {}

    # --- what subclasses say ----------------------------------------------------------------------

    def is_tuned(self, line: Line, voice: Voice, slot: int, value: int, tick: int) -> bool:
        """True if nothing must be sent for a note that starts now."""
        raise NotImplementedError

    def send_tuning(self, line: Line, voice: Voice, place: Place) -> None:
        """Send the tuning in force on a channel, if it is not there already."""
        raise NotImplementedError

    def set_up(self, line: Line, voice: Voice) -> Iterator[mido.Message]:
        """What a channel needs before it can be tuned."""
        raise NotImplementedError

    def finish(self, line: Line, place: Place) -> None:
        """Leave a channel as the next file may expect it; `place` is the end of the track of its last note."""

    # --- notes ------------------------------------------------------------------------------------

    def tune(self, line: Line, voice: Voice, slot: int, value: int, place: Place) -> None:
        """Make a channel ready for a note of `voice`, or move the tuning of one that sounds."""
        if line.stale or line.owner is not voice:
            self.agree(line, voice, place)
        line.values[slot] = value
        self.send_tuning(line, voice, place)

    def agree(self, line: Line, voice: Voice, place: Place) -> None:
        """Bring a channel into agreement with an instrument."""
        if line not in voice.lines:
            voice.lines.append(line)
        self.send(line.agree_with(voice), line, place)
        self.send(self.set_up(line, voice), line, place)

    def remember_key(self, voice: Voice, key: int, until: int, line: Line) -> None:
        """Note where a key sounds, so that poly pressure can follow it."""
        self.sounding_keys.setdefault((voice.instrument.index, key), []).append((until, line))

    # --- messages of the input ---------------------------------------------------------------------

    def pass_on(self, event: OtherEvent) -> None:
        """A channel message of the input, or a device reset."""
        after = Place(event.tick, event.track, event.index + 1)
        if event.channel < 0:
            for port in sorted({line.port for line in self.lines.values() if line.port >= 0}):
                self.file.insert(event.message, after, port)
            self.device_reset(after)
            return
        voice = self.voices.get(event.channel)
        if voice is None:
            return
        kind = event.message.type
        if kind == "control_change":
            self._control(voice, event, after)
        elif kind == "pitchwheel":
            self.input_bend(voice, event, after)
        elif kind == "program_change":
            self._program(voice, event, after)
        elif kind == "aftertouch":
            self.setting(voice, PRESSURE, event.message.value, event.message, after)
        elif kind == "polytouch":
            self.follow_key(voice, event, after)
        elif voice.home.owner is not voice:  # a release too many: it would end a note of the channel's guest
            self.file.leave_out(event.track, event.index)
        if voice.home.owner is not voice:
            self.restore(voice.home, after)

    def _control(self, voice: Voice, event: OtherEvent, after: Place) -> None:
        number, value = event.message.control, event.message.value
        if number in BANK_CONTROLLERS:
            bank = voice.bank
            voice.bank = (value, bank[1]) if number == CC_BANK_MSB else (bank[0], value)
            voice.home.bank = voice.bank
        elif number in SELECTING_CONTROLLERS:
            voice.bend.control(number, value)
        elif number in DATA_CONTROLLERS:
            self.data_entry(voice, event, after)
        elif number in _TO_ALL_LINES:
            self.mode(voice, number, event.message, after)
        elif number == CC_LOCAL_CONTROL:
            pass  # about the keyboard of the device, whatever sounds on its channels
        elif number in ONE_SHOT:
            line = self.next_line(event)
            if line is not None and line is not voice.home:
                self._move(event, line)
        else:
            self.setting(voice, number, value, event.message, after)

    def _program(self, voice: Voice, event: OtherEvent, after: Place) -> None:
        voice.program = voice.home.program = (*voice.bank, event.message.program)
        for line in self.copies(voice, event.tick):
            self.send(line.agree_on_program(voice), line, after)

    def setting(self, voice: Voice, number: int, value: int, message: mido.Message, after: Place) -> None:
        """A controller, pressure or bend: at once to every channel that sounds, later to the others.

        A pedal is lifted at once wherever it is down, so that nothing can be left hanging.
        """
        voice.settings[number] = voice.home.settings[number] = value
        pedal = number in _PEDALS
        for line in voice.lines:
            if line is voice.home or line.owner is not voice:
                continue
            until = line.sounding_until if pedal else line.ringing_until
            lifts = pedal and value < PEDAL_DOWN <= line.settings.get(number, 0)
            if lifts or until >= after.tick:
                line.settings[number] = value
                self.insert(self.file.moved(message, line.channel), line, after)
            else:
                line.stale = True

    def input_bend(self, voice: Voice, event: OtherEvent, after: Place) -> None:
        """A bend of the input."""
        self.setting(voice, BEND, event.message.pitch, event.message, after)

    def data_entry(self, voice: Voice, event: OtherEvent, after: Place) -> None:
        """Data entry for a parameter: each copy is a group of its own, never mixed with other groups."""
        selection = voice.bend.selection
        number, value = event.message.control, event.message.value
        if not build.is_chosen(selection):
            return
        data = [] if number == CC_DATA_MSB else voice.parameters.get(selection, [])
        voice.parameters[selection] = [*data, (number, value)]
        voice.home.enter(selection, number, value)
        kind, parameter = selection
        for line in self.copies(voice, event.tick):
            line.enter(selection, number, value)
            group = build.set_parameter(
                line.channel, parameter, ((number, value),), kind=kind, then=line.selection
            )
            self.send(group, line, after)

    def mode(self, voice: Voice, number: int, message: mido.Message, after: Place) -> None:
        """Mode messages go to every channel at once, silent or not."""
        for line in voice.lines:
            if line is not voice.home and line.owner is voice:
                self.insert(self.file.moved(message, line.channel), line, after)
        if number != CC_RESET_ALL_CONTROLLERS:
            return
        voice.bend.control(number, 0)
        voice.reset_controllers()
        for line in voice.lines:
            if line.owner is voice or line is voice.home:
                line.reset_controllers()
            if line.owner is voice and line.ringing_until >= after.tick:
                self.send_tuning(line, voice, after)

    def follow_key(self, voice: Voice, event: OtherEvent, after: Place) -> None:
        """Poly pressure goes where its key sounds; without such a note it stays where it is."""
        key = (voice.instrument.index, event.message.note)
        sounding = [(until, line) for until, line in self.sounding_keys.get(key, ()) if until >= event.tick]
        self.sounding_keys[key] = sounding
        lines = list(dict.fromkeys(line for _, line in sounding))
        if not lines:
            return
        if lines[0] is not voice.home:
            self._move(event, lines[0])
        for line in lines[1:]:
            self.insert(self.file.moved(event.message, line.channel), line, after)

    def device_reset(self, after: Place) -> None:
        """Set-up and tuning are gone; channels that sound are set up again at once, the others when needed."""
        for voice in self.voices.values():
            voice.reset()
        for line in self.lines.values():
            line.reset()
        for line in self.lines.values():
            self.restore(line, after)

    def restore(self, line: Line, after: Place) -> None:
        """Undo what a reset or an event of the channel's other user did, at once if it sounds."""
        line.stale = True
        if line.owner is not None and line.sounding_until > after.tick:
            self.agree(line, line.owner, after)
            self.send_tuning(line, line.owner, after)

    def copies(self, voice: Voice, tick: int) -> list[Line]:
        """Channels other than the instrument's own that still sound; those in silence are marked."""
        ringing = []
        for line in voice.lines:
            if line is not voice.home and line.owner is voice:
                if line.ringing_until >= tick:
                    ringing.append(line)
                else:
                    line.stale = True
        return ringing

    # --- writing -----------------------------------------------------------------------------------

    def send(self, group: Iterable[mido.Message], line: Line, place: Place) -> None:
        """Put messages in, on the port of their channel."""
        self.file.insert_all(group, place, line.port)

    def insert(self, message: mido.Message, line: Line, place: Place) -> None:
        """Put a message in, on the port of its channel."""
        self.file.insert(message, place, line.port)

    def _move(self, event: OtherEvent, line: Line) -> None:
        self.file.replace(event.track, event.index, self.file.moved(event.message, line.channel), line.port)

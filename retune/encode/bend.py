"""Tuning by channel pitch bend: one channel for each tuning that sounds.

Every receiver has pitch bend, and a range of two semitones gives steps of 0.024 cents (MIDI 1.0 Detailed
Specification 4.2.1 p. 19). Each instrument keeps its own channel and takes further ones only while it has
notes that want different tunings at the same time.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from functools import partial
from math import ceil

import mido
import numpy as np

from retune.constants import (
    BEND_CENTRE,
    BEND_MAX,
    CC_DATA_LSB,
    CC_DATA_MSB,
    MOST_BEND_RANGE_SEMITONES,
    RPN_BEND_RANGE,
)
from retune.encode import messages as build
from retune.encode.losses import bend_rounding, losses
from retune.encode.model import Encoded
from retune.encode.placing.spread import channels_used, spread_notes
from retune.encode.plain.relabel import Address
from retune.encode.survey.instruments import Habits
from retune.encode.survey.music import Music, music_of, survey
from retune.encode.survey.timeline import OtherEvent
from retune.encode.writing.conduct import Conductor
from retune.encode.writing.lines import Line, Voice
from retune.encode.writing.performance import Performance, write_file
from retune.encode.writing.rewrite import Place
from retune.options import Options
from retune.score.model import IntArray, Score
from retune.tuning.model import Tuning
from retune.units import bend_step_cents


def encode_bend(score: Score, tuning: Tuning, options: Options, *, tails: bool = True) -> Encoded:
    """Encode by pitch bend, one channel a tuning; without `tails` no further one lets released notes die away."""
    music, ranges = read_bends(score, tuning, options)
    spread = spread_notes(music, further=options.when_full == "ports", tails=tails)
    file = write_file(spread, partial(BendConductor, ranges=ranges), Performance)
    error, remarks = losses(spread, tuning)
    return Encoded(
        files=(file,),
        channels_used=channels_used(music, spread.placement.lane),
        worst_error_cents=error + bend_rounding(music.habits, ranges, music.tuned),
        remarks=remarks,
    )


def read_bends(
    score: Score, tuning: Tuning, options: Options, managed: Collection[Address] = ()
) -> tuple[Music, list[int]]:
    """Instruments, wanted bends, and the bend range of each instrument [semitones].

    The bends that the input gives to `managed` addresses need no room: they go to another channel.
    """
    seen = survey(score)
    bending = [Habits() if (i.port, i.channel) in managed else seen.habits[i.index] for i in seen.instruments]
    ranges = choose_ranges(tuning, seen.of_note, bending, options.bend_range_semitones)
    steps = np.array([bend_step_cents(r) for r in ranges])
    return music_of(seen, tuning, steps), ranges


def choose_ranges(tuning: Tuning, of_note: IntArray, habits: Sequence[Habits], least: int) -> list[int]:
    """Bend range of each instrument [semitones]: `least`, or wider where the bends would not fit.

    Where the input bends, its own range is kept if it is wider, so that its bends keep their values; but not if it
    is more than twice as wide as need be, where a narrower one has so much finer steps that all comes out nearer.
    """
    offsets = np.zeros(len(habits))
    np.maximum.at(offsets, of_note[tuning.offsets["note"]], np.abs(tuning.offsets["offset_cents"]))
    ranges = []
    for offset, habit in zip(offsets.tolist(), habits, strict=True):
        reach = (offset + habit.bend_cents) / 100.0 * BEND_CENTRE / (BEND_CENTRE - 1)
        needed, own = max(least, ceil(reach - 1e-9)), ceil(habit.bend_range - 1e-9)
        ranges.append(min(own if needed < own <= 2 * needed else needed, MOST_BEND_RANGE_SEMITONES))
    return ranges


class BendConductor(Conductor):
    """Tunes channels by pitch bend: the tuning and the bend of the input in one message."""

    def __init__(self, *args: object, port: int, ranges: Sequence[int]) -> None:
        """`ranges`: bend range of each instrument [semitones]."""
        super().__init__(*args, port=port)  # type: ignore[arg-type]
        for voice in self.voices.values():
            voice.range_semitones = ranges[voice.instrument.index] if voice.is_tuned else 0

    def is_tuned(self, line: Line, voice: Voice, slot: int, value: int, tick: int) -> bool:
        """True if the bend is right and was not sent on this very tick, perhaps by another track."""
        return line.bend == BEND_CENTRE + value and not voice.bend.value and line.sent[0] != tick

    def send_tuning(self, line: Line, voice: Voice, place: Place) -> None:
        """Send the bend if it is not there already, or was sent by another track on the same tick."""
        value = self.total(line, voice)
        if value != line.bend or (line.sent[0] == place.tick and line.sent[1] != place.track):
            line.bend, line.sent = value, (place.tick, place.track)
            self.insert(build.bend(line.channel, value), line, place)

    def set_up(self, line: Line, voice: Voice) -> Iterator[mido.Message]:
        """The bend range, explicitly even where it is the default."""
        if line.range_semitones != voice.range_semitones:
            line.range_semitones = voice.range_semitones
            yield from build.bend_range(line.channel, voice.range_semitones, then=line.selection)

    def input_bend(self, voice: Voice, event: OtherEvent, after: Place) -> None:
        """A bend of the input is added to the tuning of every channel that sounds."""
        voice.bend.value = event.message.pitch
        for line in voice.lines:
            if line is not voice.home and line.owner is voice and line.ringing_until >= event.tick:
                self.send_tuning(line, voice, after)
        home = voice.home
        if not voice.range_semitones or home.owner is not voice:
            home.bend = BEND_CENTRE + event.message.pitch
            return
        home.bend, home.sent = self.total(home, voice), (event.tick, event.track)
        self.file.replace(event.track, event.index, build.bend(home.channel, home.bend))

    def data_entry(self, voice: Voice, event: OtherEvent, after: Place) -> None:
        """A bend range of the input gives way to ours at its place; the bends in force change their size."""
        if voice.bend.selection != ("rpn", RPN_BEND_RANGE):
            super().data_entry(voice, event, after)
            return
        number = event.message.control
        voice.bend.control(number, event.message.value)
        if not voice.range_semitones:
            voice.home.range_semitones = None
            return
        ours = build.control(event.channel, CC_DATA_LSB, 0)
        if number == CC_DATA_MSB:
            ours = build.control(event.channel, number, voice.range_semitones)
            voice.home.range_semitones = voice.range_semitones
        self.file.replace(event.track, event.index, ours)
        for line in voice.lines:
            if line.owner is voice and line.ringing_until >= event.tick:
                self.send_tuning(line, voice, after)

    def finish(self, line: Line, place: Place) -> None:
        """Take the tuning off the bend, if no tail can follow it."""
        if line.owner is not None and line.owner.is_tuned and line.ringing_until <= place.tick:
            line.values.clear()
            self.send_tuning(line, line.owner, place)

    def total(self, line: Line, voice: Voice) -> int:
        """Bend for the tuning in force and the input's own bend."""
        steps = line.values.get(0, 0)
        if voice.bend.value:
            steps = round(steps + voice.bend.cents / bend_step_cents(voice.range_semitones))
        return min(max(BEND_CENTRE + steps, 0), BEND_MAX)

"""Real music, and ways to retune it by hand with mido alone, for files that no part of the project wrote."""

from __future__ import annotations

import functools
import io
import warnings
from collections.abc import Callable

import mido

from retune.score import Score, read_score

WORKS = ("bach/bwv66.6", "schumann_robert/opus48no2")


@functools.cache
def real_file(work: str) -> bytes:
    """A public-domain score of the music21 corpus as music21 writes it, but with a channel for each track."""
    from music21 import corpus, midi

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # music21's own
        data: bytes = midi.translate.streamToMidiFile(corpus.parse(work)).writestr()

    def own_channel(number: int, track: mido.MidiTrack) -> list[mido.Message]:
        for message in track:
            if not message.is_meta:
                message.channel = number - 1
        return list(track)

    return edited(data, own_channel)


@functools.cache
def chorale() -> Score:
    """Four voices, a channel each, no voice sounding two notes at once."""
    return read_score(real_file("bach/bwv66.6"))


def edited(data: bytes, change: Callable[[int, mido.MidiTrack], list[mido.Message]]) -> bytes:
    """The file with each track's messages replaced; `time` is the absolute tick inside `change`."""
    file = mido.MidiFile(file=io.BytesIO(data))
    for number, track in enumerate(file.tracks):
        tick = 0
        for message in track:
            tick += message.time
            message.time = tick
        messages = change(number, track)
        before = 0
        for message in messages:
            message.time, before = message.time - before, message.time
        track[:] = messages
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def bent(data: bytes, cents: Callable[[int, int], float]) -> bytes:
    """A file whose every note has a bend before it: `cents(tick, key)` at range 2. One voice a channel."""

    def change(_: int, track: mido.MidiTrack) -> list[mido.Message]:
        messages: list[mido.Message] = []
        for message in track:
            if message.type == "note_on" and message.velocity:
                pitch = round(cents(message.time, message.note) * 8192 / 200)
                wheel = mido.Message("pitchwheel", channel=message.channel, pitch=pitch, time=message.time)
                messages.append(wheel)
            messages.append(message)
        return messages

    return edited(data, change)

"""A small notation for the sample scores, and the writer that turns voices into a MIDI file.

A voice is text: `PITCH:QUARTERS` tokens, `-` for a rest, `|` between bars, `~` after a token that is tied to
the next one. `voice("G4:2 A4 B4~ | B4:2 -:2", 4)` is five quarters of notes in two bars of four.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass, field

import mido

TICKS = 480  # ticks of a quarter
_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_TOKEN = re.compile(r"(-|[A-G][#b]?-?\d)(?::(\d*\.?\d+))?(~?)")


@dataclass(frozen=True)
class Note:
    key: int
    start: int  # ticks
    length: int  # ticks
    velocity: int = 72


@dataclass
class Line:
    """One track: its notes, and any other messages at their ticks."""

    name: str
    channel: int
    program: int
    notes: list[Note]
    extra: list[tuple[int, mido.Message]] = field(default_factory=list)


def key_of(name: str) -> int:
    """`C4` is 60, middle C."""
    letter, sign, octave = name[0], name[1:-1], int(name[-1])
    return 12 * (octave + 1) + _STEPS[letter] + {"": 0, "#": 1, "b": -1}[sign]


def voice(text: str, beats: float, *, velocity: int = 72, start: int = 0) -> list[Note]:
    """Read a voice; every bar must hold `beats` quarters."""
    notes: list[Note] = []
    at, tied = start, False
    for number, bar in enumerate(text.split("|"), 1):
        bar_start = at
        for token in bar.split():
            match = _TOKEN.fullmatch(token)
            if match is None:
                raise ValueError(f"bar {number}: {token!r} is no note")
            length = round(float(match[2] or 1) * TICKS)
            if match[1] != "-":
                key = key_of(match[1])
                if tied and notes[-1].key == key:
                    before = notes.pop()
                    notes.append(Note(key, before.start, before.length + length, velocity))
                else:
                    notes.append(Note(key, at, length, velocity))
            at += length
            tied = bool(match[3])
        if at - bar_start != round(beats * TICKS):
            raise ValueError(f"bar {number} holds {(at - bar_start) / TICKS:g} quarters, not {beats:g}")
    return notes


def midi_file(
    title: str,
    lines: list[Line],
    *,
    tempo: float,
    meter: tuple[int, int] = (4, 4),
    key: str = "C",
    markers: dict[int, str] | None = None,
) -> bytes:
    """Write a file of format 1: a first track with title, tempo, meter, key, then a track a line."""
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS)
    head = [
        (0, mido.MetaMessage("track_name", name=title)),
        (0, mido.MetaMessage("time_signature", numerator=meter[0], denominator=meter[1])),
        (0, mido.MetaMessage("key_signature", key=key)),
        (0, mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(tempo))),
    ]
    head += [(tick, mido.MetaMessage("marker", text=text)) for tick, text in (markers or {}).items()]
    file.tracks.append(_track(head))
    for line in lines:
        events: list[tuple[int, mido.Message | mido.MetaMessage]] = [
            (0, mido.MetaMessage("track_name", name=line.name)),
            (0, mido.Message("program_change", channel=line.channel, program=line.program)),
        ]
        events += line.extra
        for note in line.notes:
            on = {"note": note.key, "channel": line.channel}
            events.append((note.start, mido.Message("note_on", velocity=note.velocity, **on)))
            events.append((note.start + note.length, mido.Message("note_off", velocity=64, **on)))
        file.tracks.append(_track(events))
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def _track(events: list[tuple[int, mido.Message | mido.MetaMessage]]) -> mido.MidiTrack:
    """Sort by tick, releases first, and write the steps between."""
    order = sorted(events, key=lambda event: (event[0], event[1].type != "note_off"))
    track = mido.MidiTrack()
    at = 0
    for tick, message in order:
        track.append(message.copy(time=tick - at))
        at = tick
    track.append(mido.MetaMessage("end_of_track", time=0))
    return track

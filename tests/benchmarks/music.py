"""What is measured: a chorale, a song, and as many notes as wanted."""

from __future__ import annotations

import io
import random
from functools import cache
from pathlib import Path

import mido

from tests.score.real_music import real_file

SAMPLES = Path(__file__).parents[2] / "sample_scores"
PROGRESSION = [
    (0, (0, 4, 7)),
    (9, (0, 3, 7)),
    (2, (0, 3, 7)),
    (7, (0, 4, 7, 10)),
    (5, (0, 4, 7)),
    (7, (0, 4, 7)),
]
QUARTER = 480
VOICES = 8


def chorale() -> bytes:
    """A four-part chorale of J. S. Bach (BWV 66.6, public domain) from the corpus of music21."""
    return real_file("bach/bwv66.6")


def chorales() -> list[bytes]:
    """Nine chorales of J. S. Bach as they follow each other in the same corpus, short and long ones."""
    return [real_file(f"bach/bwv{number}") for number in range(253, 262)]


def song() -> bytes:
    """Our pop song: drums, bass, chords, melody."""
    return (SAMPLES / "pop_loop.mid").read_bytes()


@cache
def generated(notes: int, seed: int = 1) -> bytes:
    """About so many notes in eight parts: chords that change every bar or half bar, in keys that change, with
    passing notes in two of the parts, held notes in two others, controllers, and human onsets."""
    choose = random.Random(seed)
    tracks = [mido.MidiTrack([mido.MetaMessage("track_name", name=f"part {v + 1}")]) for v in range(VOICES)]
    clocks = [0] * VOICES
    made, bar, key = 0, 0, 0
    while made < notes:
        if bar % 16 == 0:
            key = choose.randrange(12)
        root, shape = PROGRESSION[bar % len(PROGRESSION)]
        for voice, track in enumerate(tracks):
            made += _bar(track, clocks, voice, bar * 4 * QUARTER, (root + key) % 12, shape, choose)
        bar += 1
    file = mido.MidiFile(type=1, ticks_per_beat=QUARTER, tracks=tracks)
    data = io.BytesIO()
    file.save(file=data)
    return data.getvalue()


def _bar(
    track: mido.MidiTrack,
    clocks: list[int],
    voice: int,
    start: int,
    root: int,
    shape: tuple[int, ...],
    choose: random.Random,
) -> int:
    """Append a bar of one part; how many notes it has."""
    steps = (1, 2, 4, 4, 4, 8, 8, 2)[voice]
    length = 4 * QUARTER // steps

    def add(kind: str, tick: int, **values: int) -> None:
        track.append(mido.Message(kind, channel=voice, time=tick - clocks[voice], **values))
        clocks[voice] = tick

    for step in range(steps):
        tone = shape[(voice + step) % len(shape)] + (2 if voice in (5, 6) and step % 2 else 0)
        note = 36 + 12 * (voice // 2) + (root + tone) % 12
        onset = start + step * length + choose.randrange(12)
        if step == 0 and voice % 3 == 0:
            add("control_change", onset, control=11, value=90)
        add("note_on", onset, note=note, velocity=choose.randrange(50, 100))
        add("note_off", start + (step + 1) * length - choose.randrange(12, 24), note=note, velocity=64)
    return steps


def mido_copy(data: bytes) -> bytes:
    """What any program does at least: read and write the file with mido."""
    out = io.BytesIO()
    mido.MidiFile(file=io.BytesIO(data)).save(file=out)
    return out.getvalue()

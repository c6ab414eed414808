"""Rain on the Boathouse: a slow piano piece with pedal, broken chords and chromatic passing notes."""

from __future__ import annotations

import mido
from notation import TICKS, Line, Note, key_of, midi_file, voice

MELODY = """G4:1.5 F#4:.5 G4 Eb5 | Eb5 D5:.5 Db5:.5 C5:2 | D5 Eb5:.5 E5:.5 F5 Ab5 | G5:1.5 F5:.5 Eb5 D5
 | C5:2 Db5:.5 D5:.5 Eb5 | F5 E5:.5 Eb5:.5 D5 C5 | B4 C5:.5 C#5:.5 D5 F5 | Eb5:3 G4 | Bb4:1.5 B4:.5 C5:2
 | Ab4 A4:.5 Bb4:.5 C5:2~ | C5:2 B4:2 | C5:4"""
CHORDS = """C3 G3 C4 Eb4 | F2 C3 Ab3 Eb4 | Bb2 F3 Ab3 D4 | Eb3 Bb3 D4 G4 | Ab2 Eb3 C4 G4 | D3 Ab3 C4 F4
 | G2 D3 F3 B3 | C3 G3 C4 Eb4 | E3 Bb3 C4 G4 | F2 C3 Ab3 C4 | G2 D3 G3 C4 | C2 G2 C3 Eb3"""
ORDER = (0, 1, 2, 3, 2, 1, 2, 1)
BAR = 4 * TICKS


def left_hand() -> list[Note]:
    notes = []
    for bar, names in enumerate(CHORDS.split("|")):
        keys = [key_of(name) for name in names.split()]
        for i, step in enumerate(ORDER):
            key = keys[step]
            if bar == 10 and i >= 4 and step == 2:
                key = key_of("F3")  # the suspended fourth has resolved, the seventh comes in
            notes.append(Note(key, bar * BAR + i * TICKS // 2, TICKS // 2, 50))
    return notes


def pedal() -> list[tuple[int, mido.Message]]:
    """Down just after each bar line, up on the next one; twice in the bar of the cadence."""
    changes = [bar * BAR for bar in range(12)] + [10 * BAR + 2 * TICKS]
    events = []
    for tick in sorted(changes):
        if tick:
            events.append((tick, mido.Message("control_change", channel=0, control=64, value=0)))
        events.append((tick + 30, mido.Message("control_change", channel=0, control=64, value=127)))
    return [*events, (12 * BAR, mido.Message("control_change", channel=0, control=64, value=0))]


def build() -> bytes:
    lines = [
        Line("Right hand", 0, 0, voice(MELODY, 4, velocity=70)),
        Line("Left hand", 0, 0, left_hand(), pedal()),
    ]
    return midi_file("Rain on the Boathouse", lines, tempo=56, key="Eb")

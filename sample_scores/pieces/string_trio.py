"""Ferry Crossing: violin, viola and cello with a piano that cannot be retuned."""

from __future__ import annotations

from notation import TICKS, Line, Note, key_of, midi_file, voice

VIOLIN = """F#5:2 E5 | D5:3~ | D5:2 G5 | E5:3 | A5:3 | G5:2 F#5 | G5:3~ | G5:3 | F#5:3~ | F#5:3 | D5:3~
 | D5:3 | E5:3~ | E5:2 C#5 | D5:3~ | D5:3"""
VIOLA = """A4:3 | B4:3~ | B4:3 | C#5:3 | D5:3~ | D5:3~ | D5:3 | C#5:3 | D5:3 | C#5:3 | B4:3
 | A4:3 | G4:3~ | G4:3 | F#4:3~ | F#4:3"""
CELLO = """D3:3 | B2:3 | G2:3 | A2:3 | F#2:3 | G2:3 | E2:3 | A2:3 | B2:3 | A2:3 | G2:3
 | F#2:3 | E2:3 | A2:3 | D3:3~ | D3:3"""
PIANO = """D3 A3 F#4 | B2 F#3 D4 | G2 D4 G4 | A2 E3 C#4 | F#2 A3 D4 | G2 D4 B4 | E2 B3 D4 | A2 E3 G4
 | B2 F#3 D4 | A2 F#3 C#4 | G2 D4 B4 | F#2 A3 D4 | E2 B3 E4 | A2 G3 C#4 | D3 A3 F#4 | D2 A3 F#4"""
"""A bar: bass note on the first beat, the other two together on the second and third."""


def piano() -> list[Note]:
    notes = []
    for bar, names in enumerate(PIANO.split("|")):
        start = bar * 3 * TICKS
        bass, *upper = (key_of(name) for name in names.split())
        notes.append(Note(bass, start, TICKS, 64))
        notes += [Note(key, start + beat * TICKS, TICKS, 52) for beat in (1, 2) for key in upper]
    return notes


def build() -> bytes:
    lines = [
        Line("Violin", 0, 40, voice(VIOLIN, 3)),
        Line("Viola", 1, 41, voice(VIOLA, 3)),
        Line("Cello", 2, 42, voice(CELLO, 3, velocity=76)),
        Line("Piano", 3, 0, piano()),
    ]
    return midi_file("Ferry Crossing", lines, tempo=84, meter=(3, 4), key="D")

"""Lanterns on the Water: an evening hymn for four voices.

Bars 1-4 and 13-14 go I-vi-ii-V-I with every common tone held: pure chords on held tones would sink by a comma
each time. Suspensions in bars 4, 6, 11 and 17.
"""

from __future__ import annotations

from notation import TICKS, Line, midi_file, voice

SOPRANO = """B4:4 | C5:2 D5:2~ | D5:4 | C5:4 | B4:2 C5:2 | A4:4 | D5:2 C5:2 | A4:4~ | A4:2 G4:2
 | A4:4~ | A4 G4:3~ | G4:2 F#4:2 | B4:4 | C5:2 D5:2 | B4:2 C5:2 | B4:2 A4:2~ | A4 G4:3~ | G4:4"""
ALTO = """G4:4 | A4:4 | B4:2 G4:2~ | G4:3 F#4 | G4:4~ | G4 F#4:3 | G4:4~ | G4:2 F#4:2~ | F#4:2 E4:2~
 | E4:2 F#4:2 | D4:4 | C4:2 D4:2 | G4:4 | A4:4 | G4:4~ | G4:2 F#4:2 | D4:2 E4:2 | D4:4"""
TENOR = """D4:2 E4:2~ | E4:2 F#4:2 | D4:2 E4:2~ | E4:2 D4:2~ | D4:2 E4:2 | D4:4~ | D4:2 E4:2~ | E4:2 D4:2
 | B3:4 | C4:4~ | C4 B3:3 | A3:4 | D4:2 E4:2~ | E4:2 F#4:2 | E4:4 | D4:2 C4:2~ | C4 B3 C4:2 | B3:4"""
BASS = """G3:2 E3:2 | A3:2 D3:2 | G3:2 E3:2 | A3:2 D3:2 | G3:2 C3:2 | D3:2 C3:2 | B2:2 C3:2 | C#3:2 D3:2
 | D#3:2 E3:2 | A2:2 D3:2 | G2:2 E3:2 | A2:2 D3 F#3 | G3 F#3 E3:2 | A3:2 D3:2 | E3 D3 C3:2 | D3:4
 | G2:2 C3:2 | G2:4"""


def build() -> bytes:
    parts = {"Soprano": SOPRANO, "Alto": ALTO, "Tenor": TENOR, "Bass": BASS}
    lines = [Line(name, channel, 52, voice(text, 4)) for channel, (name, text) in enumerate(parts.items())]
    markers = {0: "First verse", 16 * TICKS: "The water", 32 * TICKS: "The far bank", 48 * TICKS: "Home"}
    return midi_file("Lanterns on the Water", lines, tempo=66, key="G", markers=markers)

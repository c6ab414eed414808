"""Last Boat Home: the tag of a song in close harmony.

A chain of dominant sevenths in bars 1-5, then the lead holds its last note through five bars while the others
move round it.
"""

from __future__ import annotations

from notation import Line, midi_file, voice

TENOR = """D4:4 | C4:4 | D4:4 | D4:2 C4:2~ | C4:4 | D4:4 | Eb4:2 C4:2 | D4:2 Db4:2 | C4:4 | D4:4"""
LEAD = """Bb3:2 B3:2 | Bb3:2 A3:2 | Bb3:2 C4:2 | B3:2 Bb3:2 | A3:4 | Bb3:4~ | Bb3:4~ | Bb3:4~ | Bb3:4~
 | Bb3:4"""
BARITONE = """F3:4 | E3:2 Eb3:2 | F3:2 F#3:2 | F3:2 E3:2 | Eb3:4 | F3:2 Ab3:2 | G3:2 Gb3:2 | F3:2 E3:2
 | Eb3:4 | F3:4"""
BASS = """Bb2:2 G2:2~ | G2:2 F2:2 | Bb2:2 A2:2 | G2:4 | F2:4 | Bb2:2 F2:2 | Eb3:4 | Bb2:2 Gb2:2 | F2:4
 | Bb2:4"""


def build() -> bytes:
    parts = {"Tenor": TENOR, "Lead": LEAD, "Baritone": BARITONE, "Bass": BASS}
    lines = [Line(name, channel, 53, voice(text, 4)) for channel, (name, text) in enumerate(parts.items())]
    return midi_file("Last Boat Home", lines, tempo=72, key="Bb")

"""Night Market: bass, pads, arpeggio and drums, played a little unevenly, with a slide in the bass.

The unevenness is drawn from a generator with a fixed start, so the file is the same every time.
"""

from __future__ import annotations

import random

import mido
from notation import TICKS, Line, Note, key_of, midi_file

BAR = 4 * TICKS
CHORDS = (
    ("F2", "C4 E4 A4", "F4 A4 C5 E5"),
    ("G2", "B3 D4 G4", "G4 B4 D5 G5"),
    ("E2", "B3 D4 G4", "E4 G4 B4 D5"),
    ("A2", "C4 E4 G4", "A4 C5 E5 G5"),
    ("F2", "C4 E4 A4", "F4 A4 C5 E5"),
    ("G2", "B3 D4 G4", "G4 B4 D5 G5"),
    ("C2", "C4 E4 G4", "E4 G4 C5 E5"),
    ("E2", "B3 D4 G#4", "E4 G#4 B4 D5"),
)
"""A bar each: root in the bass, pad, arpeggio from below."""
APPROACH = ("F#2", "F2", "G#2", "G2", "F#2", "B1", "D2", "Eb2")
"""The last eighth in the bass of each bar: a step or half step into the next root."""
ROUNDS = 2
KICK, SNARE, HAT = 36, 38, 42  # General MIDI 1 percussion map


def build() -> bytes:
    hand = random.Random(1871)
    jitter = lambda spread: hand.randint(-spread, spread)  # noqa: E731
    bass, pads, arpeggio, drums = [], [], [], []
    for bar in range(ROUNDS * len(CHORDS)):
        start = bar * BAR
        root, pad, tones = CHORDS[bar % len(CHORDS)]
        bass += _bass(start, root, APPROACH[bar % len(CHORDS)], jitter)
        pads += [Note(key_of(k), max(0, start + jitter(10)), BAR - 30, 58 + jitter(4)) for k in pad.split()]
        arpeggio += _arpeggio(start, [key_of(k) for k in tones.split()], jitter)
        drums += _drums(start, jitter)
    lines = [
        Line("Bass", 0, 33, bass, _slide(7 * BAR, 0)),
        Line("Pads", 1, 89, pads),
        Line("Arpeggio", 2, 11, arpeggio),
        Line("Drums", 9, 0, drums),
    ]
    return midi_file("Night Market", lines, tempo=104, key="Am")


def _bass(start, root, approach, jitter) -> list[Note]:
    low = key_of(root)
    eighths = [low, low, low + 12, low, low, low + 7, low + 12, key_of(approach)]
    if root == "A2":
        eighths[5] = low + 3  # the third instead of the fifth
    return [
        Note(key, max(0, start + i * TICKS // 2 + jitter(8)), 200, 84 + jitter(6))
        for i, key in enumerate(eighths)
    ]


def _arpeggio(start, tones, jitter) -> list[Note]:
    order = (0, 1, 2, 3, 2, 1, 2, 1)
    return [
        Note(tones[step], max(0, start + i * TICKS // 2 + jitter(12)), 210, 66 + jitter(8))
        for i, step in enumerate(order)
    ]


def _drums(start, jitter) -> list[Note]:
    hits = [(HAT, eighth, 60) for eighth in range(8)]
    hits += [(KICK, 0, 100), (KICK, 3, 84), (KICK, 4, 96), (SNARE, 2, 92), (SNARE, 6, 94)]
    return [
        Note(key, max(0, start + eighth * TICKS // 2 + jitter(5)), 100, velocity + jitter(5))
        for key, eighth, velocity in sorted(hits, key=lambda hit: hit[1])
    ]


def _slide(start, channel) -> list[tuple[int, mido.Message]]:
    """A fall of about a quarter tone and back in the last beat of a bar."""
    at = start + 3 * TICKS
    depth = (0, -500, -1200, -2000, -1200, -500, 0)
    return [
        (at + i * 60, mido.Message("pitchwheel", channel=channel, pitch=pitch))
        for i, pitch in enumerate(depth)
    ]

"""Pitch that MIDI 2.0 gives to single notes: pitch 7.9 and 7.25, per-note bend, per-note management.

Section numbers are those of M2-104-UM v1.1.2 (UMP Format and MIDI 2.0 Protocol).
"""

from __future__ import annotations

import numpy as np

from retune.check.receiver.sounding import FloatArray, IntArray
from retune.check.receiver.timeline import Spans, Timeline

DEFAULT_RANGE_CENTS = 4800.0  # per-note bend, 48 semitones (from memory, not checked)
_UNSET = -1.0  # no pitch 7.25 in force
_NEAR_OCTAVE_SEMITONES = 2.0  # a number whole octaves away stands for the key so far off, however tuned
_FAR_SEMITONES = (
    4.0  # a note this far from its number uses it as a mere index (7.4.15.3); A4 = 380 Hz is 2.5 off
)


class PerNote:
    """Timelines of per-note pitch; lanes are channel lane · 128 + note number (`range`: channel lanes)."""

    def __init__(self, places: int) -> None:
        self.pitch = Timeline(_UNSET, places)  # pitch 7.25 [semitones, 69 = A4], persists for later notes
        self.bend = Timeline(0.0, places)  # −1 to 1
        self.range = Timeline(DEFAULT_RANGE_CENTS, places)
        self.detached = Timeline(1.0, places)  # 0 at each detach

    def manage(self, lane: int, place: int, *, detach: bool, reset: bool) -> None:
        """Per-note management (7.4.5): cut the sounding note loose, then set the controllers back."""
        if detach:
            self.detached.add(lane, place, 0.0)
        if reset:
            self.pitch.add(lane, place, _UNSET)
            self.bend.add(lane, place, 0.0)

    def attach(self, spans: Spans, attributes: IntArray) -> None:
        """Note down what belongs to the notes themselves; `attributes` is pitch 7.9 as sent, or -1."""
        self.spans = spans
        self.lanes = spans.lanes * 128 + spans.keys
        self.own_pitch = np.where(attributes >= 0, attributes / 512.0, _UNSET)
        cut = self.detached.next_below(self.lanes, spans.on, 0.5)
        self.last_obeyed = np.where(cut < 0, np.iinfo(np.int64).max, cut - 1)

    def breaks(self) -> list[tuple[IntArray, IntArray]]:
        """(note, place) of every per-note change while a note sounds."""
        spans = self.spans
        end = np.minimum(spans.end, self.last_obeyed + (self.last_obeyed < spans.end))
        found = [timeline.between(self.lanes, spans.on, end) for timeline in (self.pitch, self.bend)]
        return [*found, self.range.between(spans.lanes, spans.on, end)]

    def cents(self, notes: IntArray, places: IntArray, from_tables: FloatArray) -> FloatArray:
        """What note number, tables and per-note pitch come to, from the note number's pitch [cents].

        Override order (7.4.15): note number, tuning table, pitch 7.25, pitch 7.9; per-note bend is added.
        """
        at = np.minimum(places, self.last_obeyed[notes])
        keys, lanes = self.spans.keys[notes], self.lanes[notes]
        kept, own = self.pitch.at(lanes, at), self.own_pitch[notes]
        pitch = np.where(own != _UNSET, own, kept)
        base = np.where(pitch != _UNSET, 100.0 * (pitch - keys), from_tables)
        bend = self.bend.at(lanes, at) * self.range.at(self.spans.lanes[notes], at)
        result: FloatArray = base + bend
        return result

    def key_shift(self) -> IntArray:
        """Semitones from the note number to the key a note stands for, where the number is a mere index."""
        notes = np.arange(len(self.lanes))
        away = self.cents(notes, self.spans.on, np.zeros(len(notes))) / 100.0
        octaves = 12.0 * np.rint(away / 12.0)
        nearest = np.where(np.abs(away) > _FAR_SEMITONES, np.rint(away), 0)
        return np.where(np.abs(away - octaves) < _NEAR_OCTAVE_SEMITONES, octaves, nearest).astype(np.int64)

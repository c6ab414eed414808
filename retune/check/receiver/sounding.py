"""What a receiver sounds: notes as columns, their pitch over time, and every other event in its place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from retune.arrays import distinct
from retune.check.receiver.stored import Stored, together
from retune.errors import Remark

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
Table = NDArray[np.void]

HEARD_DTYPE = np.dtype(
    [
        ("onset_tick", np.int64),
        ("release_tick", np.int64),  # the note-off; the end of its track if none came
        ("sounding_end_tick", np.int64),  # the release, or the later pedal lift (CC64, CC66)
        ("key", np.int16),  # 0-127
        ("velocity", np.int16),  # 1-127 (16-bit velocities of MIDI 2.0 scaled down)
        ("release_velocity", np.int16),  # 0-127; 64 where the note-off carries none
        ("channel", np.int16),  # 0-15
        ("port", np.int16),  # port of FF 21, or group of MIDI 2.0
        ("program", np.int16),  # in force at the onset, as are the next four
        ("volume", np.int16),
        ("pan", np.int16),
        ("expression", np.int16),
        ("sustain", np.bool_),
        ("track", np.int32),
        ("percussion", np.bool_),
        ("member", np.bool_),  # of an MPE zone
        ("zone_range", np.bool_),  # bent, by a range that only a receiver of zones knows
        ("unreleased", np.bool_),  # no note-off of its own
        ("known_until_tick", np.int64),  # where its channel joins or leaves a zone, which may silence it
    ]
)
"""One row a note, in the order the notes start (tick, then track, then place in the track)."""

CURVE_DTYPE = np.dtype(
    [
        ("note", np.int64),  # index into the notes
        ("start_tick", np.int64),
        ("end_tick", np.int64),
        ("cents", np.float64),  # from the note's key in equal temperament at A4 = 440 Hz
    ]
)
"""Pitch as steps in time, ordered by (note, start_tick), from onset to sounding end without gaps. A note of
no length has one row of no length."""

IN_FORCE_DTYPE = np.dtype(
    [
        ("note", np.int64),  # index into the notes
        ("code", np.int32),  # controller, or a code of `in_force`
        ("tick", np.int64),
        ("value", np.int32),
    ]
)
"""What holds for a note from a tick on, while its key is down; only what differs from the start of all."""

EVENT_DTYPE = np.dtype(
    [
        ("tick", np.int64),
        ("track", np.int32),
        ("channel", np.int16),
        ("kind", np.int16),  # one of the codes below
        ("number", np.int32),  # controller, key, or parameter (bit 14 set: registered, then MSB, LSB)
        ("value", np.int32),
    ]
)
CONTROL, PROGRAM, CHANNEL_PRESSURE, KEY_PRESSURE, PARAMETER = range(5)
"""Kinds of `EVENT_DTYPE` rows. What only carries tuning (bends, RPN 0-4 and 6) is in the curve, not here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sounding:
    """What a receiver makes of a file."""

    format: int  # 0 or 1; 2 stands for a MIDI 2.0 clip, which has no tracks
    ticks_per_quarter: float
    notes: Table  # HEARD_DTYPE
    curve: Table  # CURVE_DTYPE
    in_force: Table  # IN_FORCE_DTYPE
    events: Table  # EVENT_DTYPE
    stored: Stored
    track_names: tuple[str, ...]
    end_tick: int
    has_own_tuning: bool  # anything in the file moves a pitch away from equal temperament
    remarks: tuple[Remark, ...] = ()  # what had to be mended to read it

    @property
    def channels(self) -> int:
        """How many channels (of all ports) carry notes."""
        return len(distinct(self.notes["port"].astype(np.int64) * 16 + self.notes["channel"]))

    @property
    def ports(self) -> int:
        """How many ports (groups of a clip) carry notes."""
        return len(distinct(self.notes["port"].astype(np.int64)))

    def scaled(self, factor: float) -> Sounding:
        """The same with all ticks multiplied by `factor` and rounded (other ticks per quarter)."""
        if factor == 1.0:
            return self
        notes, curve, events = self.notes.copy(), self.curve.copy(), self.events.copy()
        in_force = self.in_force.copy()
        for table, names in (
            (in_force, ("tick",)),
            (notes, ("onset_tick", "release_tick", "sounding_end_tick")),
            (curve, ("start_tick", "end_tick")),
            (events, ("tick",)),
        ):
            for name in names:
                table[name] = np.rint(table[name] * factor).astype(np.int64)
        return replace(
            self,
            ticks_per_quarter=self.ticks_per_quarter * factor,
            notes=notes,
            curve=curve,
            in_force=in_force,
            events=events,
            stored=self.stored._replace(ticks=np.rint(self.stored.ticks * factor).astype(np.int64)),
            end_tick=round(self.end_tick * factor),
        )


def folded(sounding: Sounding, track_names: Sequence[str]) -> Sounding:
    """The same with what is in added tracks counted for the original track of their name.

    A part that does not fit on the channels of its port goes on in a track of the same name on a further port.
    """
    if len(sounding.track_names) <= len(track_names):
        return sounding
    target = np.arange(len(sounding.track_names))
    for track in range(len(track_names), len(sounding.track_names)):
        name = sounding.track_names[track]
        target[track] = track_names.index(name) if name in track_names else track
    alone = [
        track < len(track_names) or track_names.count(name) == 1
        for track, name in enumerate(sounding.track_names)
    ]
    of_events = np.where(alone, target, np.arange(len(target)))  # else it is left open which one is meant
    notes, events = sounding.notes.copy(), sounding.events.copy()
    notes["track"], events["track"] = target[notes["track"]], of_events[events["track"]]
    return replace(sounding, notes=notes, events=events)


def renumbered(sounding: Sounding, keys: IntArray) -> Sounding:
    """The same pitches, counted from other keys (n_notes,)."""
    change = keys - sounding.notes["key"]
    if not change.any():
        return sounding
    notes, curve = sounding.notes.copy(), sounding.curve.copy()
    notes["key"] = keys
    curve["cents"] -= 100.0 * change[curve["note"]]
    return replace(sounding, notes=notes, curve=curve)


def joined(soundings: Sequence[Sounding]) -> Sounding:
    """Several files played together, heard as one; the first gives names, resolution and stored events.

    Events other than notes are those of all files; what several files repeat counts once.
    """
    if len(soundings) == 1:
        return soundings[0]
    first = soundings[0]
    curves, forces, base = [], [], 0
    for sounding in soundings:
        curve, in_force = sounding.curve.copy(), sounding.in_force.copy()
        curve["note"] += base
        in_force["note"] += base
        base += len(sounding.notes)
        curves.append(curve)
        forces.append(in_force)
    notes = np.concatenate([sounding.notes for sounding in soundings])
    order = np.argsort(notes["onset_tick"], kind="stable")
    place = np.empty(len(notes), dtype=np.int64)
    place[order] = np.arange(len(notes))
    curve = np.concatenate(curves)
    curve["note"] = place[curve["note"]]
    in_force = np.concatenate(forces)
    in_force["note"] = place[in_force["note"]]
    return replace(
        first,
        notes=notes[order],
        curve=curve[np.lexsort((curve["start_tick"], curve["note"]))],
        in_force=in_force,
        events=np.unique(np.concatenate([sounding.events for sounding in soundings])),
        stored=together([sounding.stored for sounding in soundings]),
        end_tick=max(sounding.end_tick for sounding in soundings),
        has_own_tuning=any(sounding.has_own_tuning for sounding in soundings),
        remarks=tuple(remark for sounding in soundings for remark in sounding.remarks),
    )

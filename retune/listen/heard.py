"""What sounds when: tones in seconds, taken from a score and a tuning, and the cuts a listener asks for.

All functions map arrays to arrays; nothing here knows how a tone is made audible.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.units import key_to_hz

if TYPE_CHECKING:
    from collections.abc import Collection

    from retune.score.model import Score

Rows = NDArray[np.void]
FloatArray = NDArray[np.float64]

HEARD_DTYPE = np.dtype(
    [
        ("tone", np.int64),  # rows of one tone follow each other without a gap and keep their phase
        ("part", np.int32),  # index into Score.parts; DRONE_PART for a drone
        ("start_s", np.float64),
        ("end_s", np.float64),
        ("release_s", np.float64),  # the key is let go here; from here to the end only the pedal holds it
        ("key", np.int16),  # MIDI key
        ("offset_cents", np.float64),  # from equal temperament at A4 = 440 Hz
        ("velocity", np.int16),
        ("gain", np.float64),  # linear, on top of the velocity
    ]
)
"""One row for each stretch of a tone with one pitch, ordered by (tone, start_s)."""

CLICK_DTYPE = np.dtype([("time_s", np.float64), ("gain", np.float64)])
"""One row for each percussion stroke."""

DRONE_PART = -1
DRONE_VELOCITY = 80  # chosen by ear: under a part at a usual velocity, still plain
DRONE_KEYS = 36  # the drone sounds in the octave from here up (C2), below most parts
SHORTEST_S = 0.02  # a note of no length still sounds this long


def heard(score: Score, offsets: Rows) -> Rows:
    """Rows of every pitched note of a score with the given offsets.

    `offsets` has the columns of `retune.tuning.model.OFFSET_DTYPE`.
    """
    notes = score.notes[offsets["note"]]
    rows = np.zeros(len(offsets), HEARD_DTYPE)
    rows["tone"] = offsets["note"]
    rows["part"] = notes["part"]
    rows["start_s"] = score.clock.seconds(offsets["start_tick"])
    rows["end_s"] = score.clock.seconds(offsets["end_tick"])
    rows["release_s"] = score.clock.seconds(notes["release_tick"])
    rows["key"] = notes["key"]
    rows["offset_cents"] = offsets["offset_cents"]
    rows["velocity"] = notes["velocity"]
    rows["gain"] = 1.0
    empty = rows["end_s"] <= rows["start_s"]
    rows["end_s"][empty] = rows["start_s"][empty] + SHORTEST_S
    rows["release_s"] = np.maximum(rows["release_s"], rows["start_s"])
    return rows


def untuned_offsets(score: Score, offset_cents: float) -> Rows:
    """Every pitched note at one offset from equal temperament: the music as it was, at a reference pitch."""
    from retune.tuning.model import OFFSET_DTYPE

    index = np.flatnonzero(score.pitched)
    rows = np.zeros(len(index), OFFSET_DTYPE)
    rows["note"] = index
    rows["start_tick"] = score.notes["onset_tick"][index]
    rows["end_tick"] = score.notes["sounding_end_tick"][index]
    rows["offset_cents"] = offset_cents
    return rows


def strokes(score: Score) -> Rows:
    """Percussion strokes of a score."""
    notes = score.notes[~score.pitched]
    rows = np.zeros(len(notes), CLICK_DTYPE)
    rows["time_s"] = score.clock.seconds(notes["onset_tick"])
    rows["gain"] = notes["velocity"] / 127.0
    return rows


def drone(score: Score, windows: Rows, root_offsets_cents: FloatArray, first_tone: int) -> Rows:
    """Return a low tone on the root of every window; windows of one root in a row make one tone."""
    rows = np.zeros(len(windows), HEARD_DTYPE)
    if not len(windows):
        return rows
    roots = windows["root_pc"].astype(np.int64)
    rows["tone"] = first_tone + np.concatenate([[0], np.cumsum(np.diff(roots) != 0)])
    rows["part"] = DRONE_PART
    rows["start_s"] = score.clock.seconds(windows["start_tick"])
    rows["end_s"] = score.clock.seconds(windows["end_tick"])
    rows["key"] = DRONE_KEYS + (roots - DRONE_KEYS) % 12
    rows["offset_cents"] = root_offsets_cents
    rows["velocity"] = DRONE_VELOCITY
    rows["gain"] = 1.0
    rows["release_s"] = rows["end_s"]
    return rows[rows["end_s"] > rows["start_s"]]


def of_parts(rows: Rows, parts: Collection[int]) -> Rows:
    """Return the rows of the given parts alone."""
    return rows[np.isin(rows["part"], list(parts))]


def softer_except(rows: Rows, parts: Collection[int], gain: float) -> Rows:
    """All rows, those of other parts at `gain`."""
    result = rows.copy()
    result["gain"][~np.isin(rows["part"], list(parts))] *= gain
    return result


def between(rows: Rows, start_s: float, end_s: float) -> Rows:
    """Return what sounds from `start_s` to `end_s`, cut at both ends and counted from `start_s`."""
    inside = rows[(rows["start_s"] < end_s) & (rows["end_s"] > start_s)]
    for column in ("start_s", "end_s", "release_s"):
        inside[column] = np.clip(inside[column], start_s, end_s) - start_s
    return inside


def strokes_between(clicks: Rows, start_s: float, end_s: float) -> Rows:
    """Return the strokes from `start_s` to before `end_s`, counted from `start_s`."""
    inside = clicks[(clicks["time_s"] >= start_s) & (clicks["time_s"] < end_s)]
    inside["time_s"] -= start_s
    return inside


def at_speed(rows: Rows, speed: float) -> Rows:
    """Return the same pitches at another speed: 0.5 is half as fast."""
    result = rows.copy()
    for column in ("start_s", "end_s", "release_s", "time_s"):
        if column in (result.dtype.names or ()):
            result[column] /= speed
    return result


def frequencies(rows: Rows) -> FloatArray:
    """Frequency of each row [Hz]."""
    return key_to_hz(rows["key"].astype(np.float64), rows["offset_cents"])

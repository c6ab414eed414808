"""The score: notes as columns, clock and meters, and every other event in its place.

All ticks are absolute, integers, from the start of the file.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import mido
import numpy as np
from numpy.typing import NDArray

from retune.errors import Remark

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

REACH = 0.04  # of a beat: performed timing this near a place is taken for the place (judgement, no source)

NOTE_DTYPE = np.dtype(
    [
        ("onset_tick", np.int64),  # tick of the note-on
        ("release_tick", np.int64),  # tick of its note-off (>= onset)
        ("sounding_end_tick", np.int64),  # release, or the later pedal lift (CC64, CC66)
        ("key", np.int16),  # MIDI key 0-127
        ("velocity", np.int16),  # 1-127
        ("part", np.int32),  # index into Score.parts
        ("track", np.int32),  # index into Score.tracks
        ("on_event", np.int64),  # index of the note-on within the track's events
        ("off_event", np.int64),  # index of the note-off (one is put in where the file has none)
    ]
)
"""One row a note, ordered by (onset_tick, track, on_event)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """The events of one track in their stored order. `ticks[i]` is the absolute tick of `messages[i]`.

    Equal events of a file share one message, so none may be changed, and the `time` field means nothing. The
    end-of-track event is not in `messages`; its tick is `end_tick`.
    """

    name: str
    ticks: IntArray
    messages: list[mido.Message | mido.MetaMessage]
    end_tick: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """The notes of one track + port + channel: one voice or instrument."""

    index: int
    name: str  # track name, or "track 3 channel 5" style if the track holds several channels or no name
    track: int
    port: int
    channel: int  # 0-15
    program: int  # program in force at the part's first note, 0-127
    is_percussion: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """Ticks ↔ quarters ↔ seconds, vectorised.

    Metrical division: tempo changes count. SMPTE division (`smpte`): tempo has no effect on time, and a quarter is
    half a second (120 to the minute).
    """

    ticks_per_quarter: float
    change_ticks: IntArray  # (n_tempos,), first is 0
    change_seconds: FloatArray  # (n_tempos,) seconds at each change
    seconds_per_tick: FloatArray  # (n_tempos,) in force from each change on
    smpte: bool = False

    def seconds(self, ticks: IntArray | int) -> FloatArray:
        """Seconds from the start of the file at the given absolute ticks."""
        at = np.asarray(ticks, dtype=np.int64)
        k = np.searchsorted(self.change_ticks, at, side="right") - 1
        result: FloatArray = self.change_seconds[k] + (at - self.change_ticks[k]) * self.seconds_per_tick[k]
        return result

    def ticks(self, seconds: FloatArray | float) -> IntArray:
        """Nearest absolute ticks at the given seconds."""
        at = np.asarray(seconds, dtype=np.float64)
        k = np.maximum(np.searchsorted(self.change_seconds, at, side="right") - 1, 0)
        exact = self.change_ticks[k] + (at - self.change_seconds[k]) / self.seconds_per_tick[k]
        return np.rint(exact).astype(np.int64)

    def quarters(self, ticks: IntArray | int) -> FloatArray:
        """Quarter notes from the start of the file at the given absolute ticks."""
        result: FloatArray = np.asarray(ticks, dtype=np.float64) / self.ticks_per_quarter
        return result


@dataclass(frozen=True, slots=True, kw_only=True)
class Meters:
    """Bars and beats. Bars count from 1; beats from 1.0 in units of the meter's denominator."""

    change_ticks: IntArray  # (n_meters,), first is 0
    first_bar: IntArray  # (n_meters,) number of the bar that starts at each change
    numerator: IntArray  # (n_meters,)
    denominator: IntArray  # (n_meters,)
    ticks_per_quarter: float

    def bar_beat(self, ticks: IntArray | int) -> tuple[IntArray, FloatArray]:
        """Bar number and beat (1.0 = the downbeat) at the given absolute ticks."""
        at = np.asarray(ticks, dtype=np.int64)
        k = np.searchsorted(self.change_ticks, at, side="right") - 1
        beat_ticks = self.ticks_per_quarter * 4.0 / self.denominator[k]
        beats = (at - self.change_ticks[k]) / beat_ticks
        bars = np.floor(beats / self.numerator[k] + 1e-9).astype(np.int64)
        return self.first_bar[k] + bars, 1.0 + beats - bars * self.numerator[k]

    def spoken(self, ticks: IntArray | int) -> tuple[IntArray, FloatArray]:
        """Bar and beat as a musician says them: what lies within `REACH` of a quarter of a beat is there."""
        bars, beats = self.bar_beat(ticks)
        k = np.searchsorted(self.change_ticks, np.asarray(ticks, dtype=np.int64), side="right") - 1
        nearest = np.rint(beats * 4.0) / 4.0
        beats = np.where(np.abs(beats - nearest) <= REACH, nearest, beats)
        early = beats >= self.numerator[k] + 1.0  # just before a bar line
        return bars + early, np.where(early, 1.0, beats)

    def bar_ticks(self, bars: IntArray) -> IntArray:
        """(n,) absolute ticks where the bars begin."""
        k = np.maximum(np.searchsorted(self.first_bar, bars, side="right") - 1, 0)
        beat_ticks = self.ticks_per_quarter * 4.0 / self.denominator[k]
        beats = (bars - self.first_bar[k]) * self.numerator[k]
        return np.rint(self.change_ticks[k] + beats * beat_ticks).astype(np.int64)

    def tick_of(self, bar: int, beat: float = 1.0) -> int:
        """Absolute tick of a bar and beat."""
        k = max(int(np.searchsorted(self.first_bar, bar, side="right")) - 1, 0)
        beat_ticks = self.ticks_per_quarter * 4.0 / int(self.denominator[k])
        beats = (bar - int(self.first_bar[k])) * int(self.numerator[k]) + beat - 1.0
        return round(int(self.change_ticks[k]) + beats * beat_ticks)


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """One file of music."""

    format: int  # 0 or 1 (a chosen pattern of format 2 reads as 0)
    division: int  # the header's division word as written (negative high byte for SMPTE)
    clock: Clock
    meters: Meters
    tracks: tuple[Track, ...]
    parts: tuple[Part, ...]
    notes: NDArray[np.void]  # NOTE_DTYPE
    end_tick: int
    title: str = ""
    source: str = ""  # the file it was read from, by its full name, "" where that is not known
    remarks: tuple[Remark, ...] = field(default=())
    rhythm_channels: frozenset[tuple[int, int]] = (
        frozenset()
    )  # (port, channel) that GS messages ever make drum kits

    pitched: NDArray[np.bool_] = field(init=False, repr=False, compare=False)
    """(n_notes,) True where the note belongs to a part that is not percussion."""

    def __post_init__(self) -> None:
        pitched = np.array([not part.is_percussion for part in self.parts], dtype=bool)
        object.__setattr__(self, "pitched", pitched[self.notes["part"]])

    def where(self, tick: int) -> str:
        """A place a person can find: "bar 17, beat 3"."""
        bar, beat = self.meters.spoken(tick)
        return f"bar {int(bar)}, beat {float(beat):.3g}"

    @property
    def last_bar(self) -> int:
        """Number of the bar in which the music ends."""
        return int(self.meters.bar_beat(max(self.end_tick - 1, 0))[0])

    @property
    def different_messages(self) -> list[mido.Message | mido.MetaMessage]:
        """Every message once, wherever it stands."""
        return list({id(message): message for track in self.tracks for message in track.messages}.values())

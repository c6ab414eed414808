"""Tracks to bytes, by mido."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence

import mido
import numpy as np

from retune.errors import OutputError
from retune.score.events import VLQ_MAX
from retune.score.model import Track


def write_tracks(
    *,
    format: int,  # noqa: A002  # the word of the standard
    division: int,
    tracks: Sequence[Track],
) -> bytes:
    """Write tracks as a Standard MIDI File; each ends with one end-of-track event at its `end_tick`.

    The delta times come from `Track.ticks`. The `time` field of the messages is scratch space and is
    overwritten: a message may stand in the tracks more than once.

    Raises
    ------
    OutputError
        If ticks decrease, lie behind `end_tick`, or are too far apart for the format.

    """
    if format == 0 and len(tracks) != 1:
        raise OutputError(f"a file of format 0 holds one track, not {len(tracks)}; write format 1")
    timed = [_Timed(track, number) for number, track in enumerate(tracks, start=1)]
    out = io.BytesIO()
    mido.MidiFile(type=format, ticks_per_beat=division, tracks=timed).save(file=out)
    return out.getvalue()


def moved(message: mido.Message, channel: int) -> mido.Message:
    """Return a copy of a channel message on another channel (0-15).

    mido's own `copy` checks every field again and takes ten times as long; the fields of a message that
    was read are known to be good.
    """
    twin = object.__new__(type(message))
    fields = vars(twin)
    fields.update(vars(message))
    fields["channel"] = channel
    return twin


class _Timed:
    """The messages of a track in order, each given its delta time just before the writer takes it."""

    def __init__(self, track: Track, number: int) -> None:
        ends = np.append(track.ticks, track.end_tick)
        deltas = np.diff(ends, prepend=0)
        if len(deltas) and deltas.min() < 0:
            raise OutputError(
                f"track {number}: events are not in order of time; this is a fault of the program"
            )
        if deltas.max() > VLQ_MAX:
            raise OutputError(
                f"track {number}: {deltas.max()} ticks between two events are more than a file can hold"
            )
        self._deltas: list[int] = deltas.tolist()
        self._messages = track.messages

    def __iter__(self) -> Iterator[mido.Message]:
        deltas = iter(self._deltas)
        for message, delta in zip(self._messages, deltas, strict=False):
            vars(message)["time"] = delta
            yield message
        yield mido.MetaMessage("end_of_track", time=self._deltas[-1])

"""Tracks to bytes. mido encodes each different message once, however often it stands in a track."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from functools import lru_cache

import mido
import numpy as np
from mido.messages.encode import encode_message

from retune.constants import FIRST_SYSTEM_STATUS
from retune.errors import OutputError
from retune.score.events import VLQ_MAX, vlq_bytes
from retune.score.model import Track

_END = mido.MetaMessage("end_of_track")


def write_tracks(
    *,
    format: int,  # noqa: A002  # the word of the standard
    division: int,
    tracks: Sequence[Track],
) -> bytes:
    """Write tracks as a Standard MIDI File; each ends with one end-of-track event at its `end_tick`.

    The delta times come from `Track.ticks`, not from the messages: one may stand in the tracks more than once.
    A status byte is left out where it is that of the event before (running status, SMF 1.1).

    Raises
    ------
    OutputError
        If ticks decrease, lie behind `end_tick`, or are too far apart for the format.

    """
    if format == 0 and len(tracks) != 1:
        raise OutputError(f"a file of format 0 holds one track, not {len(tracks)}; write format 1")
    counts = [len(track.messages) + 1 for track in tracks]  # with the ends of tracks
    pieces = _pieces(tracks, _deltas(tracks, counts))
    chunks, start = [struct.pack(">4sLhhh", b"MThd", 6, format, len(tracks), division)], 0
    for count in counts:
        events = b"".join(pieces[start : start + count])
        chunks += [struct.pack(">4sL", b"MTrk", len(events)), events]
        start += count
    return b"".join(chunks)


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


class _Quantities(dict[int, bytes]):
    """Numbers as variable-length quantities."""

    def __missing__(self, value: int) -> bytes:
        self[value] = quantity = vlq_bytes(value)
        return quantity


def _deltas(tracks: Sequence[Track], counts: Sequence[int]) -> list[int]:
    """Ticks from each event of all tracks to the one before, the end of each track last."""
    ticks = np.concatenate([part for track in tracks for part in (track.ticks, [track.end_tick])])
    deltas = ticks.copy()
    deltas[1:] -= ticks[:-1]
    starts = np.cumsum(counts) - counts
    deltas[starts] = ticks[starts]
    if deltas.min() < 0 or deltas.max() > VLQ_MAX:
        amiss = int(np.flatnonzero((deltas < 0) | (deltas > VLQ_MAX))[0])
        number = int(np.searchsorted(starts, amiss, side="right"))
        if deltas[amiss] < 0:
            raise OutputError(
                f"track {number}: events are not in order of time; this is a fault of the program"
            )
        raise OutputError(
            f"track {number}: {deltas[amiss]} ticks between two events are more than a file can hold"
        )
    result: list[int] = deltas.tolist()
    return result


def _pieces(tracks: Sequence[Track], deltas: Sequence[int]) -> list[bytes]:
    """Each event of all tracks, after its delta time."""
    messages = [message for track in tracks for message in (*track.messages, _END)]
    encoded = {key: _encoded(message) for key, message in {id(m): m for m in messages}.items()}
    events = [encoded[id(message)] for message in messages]
    quantities = _Quantities()
    return [
        quantities[delta] + (event[1:] if event[0] == last[0] < FIRST_SYSTEM_STATUS else event)
        for delta, event, last in zip(deltas, events, [b"\xff", *events], strict=False)
    ]


@lru_cache(maxsize=1 << 14)  # as in parse.py
def _note_event(kind: str, channel: int, note: int, velocity: int) -> bytes:
    return bytes(encode_message({"type": kind, "channel": channel, "note": note, "velocity": velocity}))


def _encoded(message: mido.Message) -> bytes:
    """A message as it stands in a file; a sysex gives its length (SMF 2.3)."""
    if message.type in ("note_on", "note_off"):
        return _note_event(message.type, message.channel, message.note, message.velocity)
    if message.type == "sysex":
        return b"\xf0" + vlq_bytes(len(message.data) + 1) + bytes(message.data) + b"\xf7"
    return bytes(message.bytes())

"""Tracks to bytes. mido encodes each different message once, however often it stands in a track."""

from __future__ import annotations

import struct
from collections.abc import Sequence

import mido
import numpy as np

from retune.constants import FIRST_SYSTEM_STATUS
from retune.errors import OutputError
from retune.score.columns import distinct_messages
from retune.score.events import END_OF_TRACK, VLQ_MAX, vlq_bytes
from retune.score.model import Track


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
    quantities = _Quantities()
    chunks = [struct.pack(">4sLhhh", b"MThd", 6, format, len(tracks), division)]
    for number, track in enumerate(tracks, start=1):
        events = _events(track, _deltas(track, number), quantities)
        chunks += [struct.pack(">4sL", b"MTrk", len(events)), events]
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


def _deltas(track: Track, number: int) -> list[int]:
    """Ticks from each event to the one before, the end of the track last."""
    deltas = np.diff(np.append(track.ticks, track.end_tick), prepend=0)
    if deltas.min() < 0:
        raise OutputError(f"track {number}: events are not in order of time; this is a fault of the program")
    if deltas.max() > VLQ_MAX:
        raise OutputError(
            f"track {number}: {deltas.max()} ticks between two events are more than a file can hold"
        )
    result: list[int] = deltas.tolist()
    return result


def _events(track: Track, deltas: Sequence[int], quantities: _Quantities) -> bytes:
    different, which = distinct_messages(track.messages)
    whole = [_encoded(message) for message in different]
    status = np.array([event[0] for event in whole], dtype=np.int64)[which]
    goes_on = np.zeros(len(which), dtype=np.int64)
    goes_on[1:] = (status[1:] == status[:-1]) & (status[1:] < FIRST_SYSTEM_STATUS)
    forms = whole + [event[1:] for event in whole]
    pieces = [END_OF_TRACK] * (2 * len(deltas))
    pieces[::2] = map(quantities.__getitem__, deltas)
    pieces[1:-1:2] = map(forms.__getitem__, (which + goes_on * len(whole)).tolist())
    return b"".join(pieces)


def _encoded(message: mido.Message) -> bytes:
    """A message as it stands in a file; a sysex gives its length (SMF 2.3)."""
    if message.type == "sysex":
        return b"\xf0" + vlq_bytes(len(message.data) + 1) + bytes(message.data) + b"\xf7"
    return bytes(message.bytes())

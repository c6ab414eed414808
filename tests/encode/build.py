"""Small scores and tunings for the encode tests."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence

import mido
import numpy as np

from retune.score import Score, read_score
from retune.tuning.model import OFFSET_DTYPE, Tuning

TPQ = 480
Event = tuple[int, str]
"""Tick and a message as mido's text form, or "meta TYPE field=value …"."""


def message(text: str) -> mido.Message | mido.MetaMessage:
    """A message from its text form."""
    if text.startswith("meta "):
        kind, *fields = text.split()[1:]
        pairs = (f.split("=", 1) for f in fields)
        return mido.MetaMessage(kind, **{k: int(v) if v.lstrip("-").isdigit() else v for k, v in pairs})
    if text.startswith("sysex "):
        return mido.Message("sysex", data=bytes.fromhex(text.removeprefix("sysex ")))
    return mido.Message.from_str(text)


def file_of(tracks: Sequence[Iterable[Event]], *, kind: int = 1, end: int | None = None) -> bytes:
    """Bytes of a file; the events of a track in the order in which they stand."""
    file = mido.MidiFile(type=kind, ticks_per_beat=TPQ)
    for events in tracks:
        track, now = mido.MidiTrack(), 0
        for tick, text in events:
            built = message(text)
            track.append(built.copy(time=tick - now))
            now = tick
        track.append(mido.MetaMessage("end_of_track", time=max(0, (end or now) - now)))
        file.tracks.append(track)
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def score_of(tracks: Sequence[Iterable[Event]], *, kind: int = 1, end: int | None = None) -> Score:
    """The same, read."""
    return read_score(file_of(tracks, kind=kind, end=end))


def note(on: int, off: int, key: int, channel: int = 0, velocity: int = 80, release: int = 64) -> list[Event]:
    """A note-on and its note-off."""
    return [
        (on, f"note_on channel={channel} note={key} velocity={velocity}"),
        (off, f"note_off channel={channel} note={key} velocity={release}"),
    ]


def in_order(*groups: Iterable[Event]) -> list[Event]:
    """Events of several groups by tick; within a tick note-offs first, then in the order given."""
    events = [event for group in groups for event in group]
    return sorted(events, key=lambda e: (e[0], not e[1].startswith("note_off")))


def tuning_of(score: Score, offsets: Sequence[float | Sequence[tuple[int, float]]]) -> Tuning:
    """A tuning from one entry for each pitched note: cents, or (start tick, cents) for a note that moves."""
    rows = []
    for index, wanted in zip(np.nonzero(score.pitched)[0].tolist(), offsets, strict=True):
        row = score.notes[index]
        start, end = int(row["onset_tick"]), int(row["sounding_end_tick"])
        steps = [(start, wanted)] if isinstance(wanted, int | float) else list(wanted)
        for (tick, cents), stop in zip(steps, [t for t, _ in steps[1:]] + [end], strict=True):
            rows.append((index, tick, stop, cents))
    return Tuning(offsets=np.array(rows, dtype=OFFSET_DTYPE), displacement_cents=np.zeros(0))

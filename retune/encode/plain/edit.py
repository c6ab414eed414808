"""A score with some of its events changed, everything else as it was."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import mido
import numpy as np

from retune.score.model import Score, Track

Event = tuple[int, int]
"""Track, and place in the track."""


def edited(score: Score, changes: Mapping[Event, Sequence[mido.Message]]) -> Score:
    """Put any number of messages in place of events that are not notes, at their ticks."""
    if not changes:
        return score
    by_track: dict[int, dict[int, Sequence[mido.Message]]] = {}
    for (number, index), messages in changes.items():
        by_track.setdefault(number, {})[index] = messages
    tracks = list(score.tracks)
    notes = score.notes.copy()
    for number, changed in by_track.items():
        track = tracks[number]
        counts = np.ones(len(track.messages), np.int64)
        counts[list(changed)] = [len(messages) for messages in changed.values()]
        tracks[number] = _rebuilt(track, changed, counts)
        place = np.cumsum(counts) - counts
        mine = np.flatnonzero(notes["track"] == number)
        for event in ("on_event", "off_event"):
            notes[event][mine] = place[notes[event][mine]]
    return replace(score, tracks=tuple(tracks), notes=notes)


def _rebuilt(track: Track, changed: Mapping[int, Sequence[mido.Message]], counts: np.ndarray) -> Track:
    messages: list[mido.Message | mido.MetaMessage] = []
    done = 0
    for index in sorted(changed):
        messages += track.messages[done:index]
        messages += changed[index]
        done = index + 1
    messages += track.messages[done:]
    return replace(track, ticks=np.repeat(track.ticks, counts), messages=messages)

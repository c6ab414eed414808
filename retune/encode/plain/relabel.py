"""A score with its instruments on other channels, everything else as it was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import mido
import numpy as np

from retune.score import moved
from retune.score.model import Score, Track

Address = tuple[int, int]
"""Port and channel."""


def relabel(score: Score, where: Mapping[Address, Address]) -> Score:
    """Put everything on an address of `where` (events and parts) on the address it stands for.

    A track whose addresses go to another port gets one port event (FF 21) at its start in place of its own;
    all its addresses must go to the same port.
    """
    tracks: list[Track] = []
    shift = np.zeros(len(score.tracks), np.int64)
    for number, track in enumerate(score.tracks):
        changed, port = _relabel_track(track, where)
        if port is not None:
            event = mido.MetaMessage("midi_port", port=port)
            changed = replace(
                changed,
                ticks=np.concatenate([[0], changed.ticks]).astype(np.int64),
                messages=[event, *changed.messages],
            )
            shift[number] = 1
        tracks.append(changed)
    notes = score.notes.copy()
    notes["on_event"] += shift[notes["track"]]
    notes["off_event"] += shift[notes["track"]]
    parts = []
    for part in score.parts:
        port, channel = where.get((part.port, part.channel), (part.port, part.channel))
        parts.append(replace(part, port=port, channel=channel))
    return replace(score, tracks=tuple(tracks), parts=tuple(parts), notes=notes)


def _relabel_track(track: Track, where: Mapping[Address, Address]) -> tuple[Track, int | None]:
    """The track with its channels changed, and the port it moves to if that is another one."""
    messages = list(track.messages)
    port, ports, new_port = 0, [], None
    for index, message in enumerate(messages):
        if message.is_meta:
            if message.type == "midi_port":
                port = message.port
                ports.append(index)
        elif (channel := message.__dict__.get("channel")) is not None and (port, channel) in where:
            to_port, to_channel = where[port, channel]
            if to_channel != channel:
                messages[index] = moved(message, to_channel)
            if to_port != port:
                new_port = to_port
    if new_port is not None:
        for index in ports:
            messages[index] = mido.MetaMessage("midi_port", port=new_port)
    return replace(track, messages=messages), new_port

"""Members of MPE zones on channel 10, which is a drum channel where there is no zone."""

from __future__ import annotations

import numpy as np

from retune.constants import CC_DATA_MSB, PERCUSSION_CHANNEL
from retune.encode.plain.relabel import Address
from retune.encode.survey.parameters import CONFIGURATION, ChannelState
from retune.encode.survey.timeline import OtherEvent, Timeline
from retune.errors import InputError
from retune.score.model import Score
from retune.score.zones import LOWER, UPPER, Zones


def off_channel_10(score: Score, timeline: Timeline) -> dict[Address, Address]:
    """Where the pitched notes of members on channel 10 go: outside a zone they would be drums (GM1 p. 2).

    To their manager's channel, which needs no messages of its own once the members have copies; or, if that has
    notes, to a channel that nothing uses.
    """
    playing = {(part.port, part.channel) for part in score.parts}
    used = playing | {(event.port, event.channel) for event in timeline.others}
    ports = {part.port for part in score.parts if part.channel == PERCUSSION_CHANNEL}
    changes_of = {port: _managers_of_channel_10(timeline.others, port) for port in ports}
    moves = {}
    for part in score.parts:
        changes = changes_of[part.port] if part.channel == PERCUSSION_CHANNEL else []
        managers = [manager for _, manager in changes if manager is not None]
        if not managers:
            continue
        mine = np.flatnonzero(score.notes["part"] == part.index)
        ends = 2 * np.searchsorted(timeline.sorted_ticks, score.notes["onset_tick"][mine], side="right")
        at = np.searchsorted([rank for rank, _ in changes], ends) - 1  # set-up of a tick counts for its notes
        inside = np.array([manager is not None for _, manager in changes] + [False])[
            at
        ]  # -1: before all changes
        if inside.any() and (part.is_percussion or not inside.all()):
            where = score.where(int(score.notes["onset_tick"][mine[int(np.argmin(inside))]]))
            raise InputError(f"{where}: {part.name} {_DRUMS_AND_MEMBER}")
        free = [c for c in range(UPPER + 1) if (part.port, c) not in used | {(part.port, PERCUSSION_CHANNEL)}]
        possible = [m for m in managers if (part.port, m) not in playing] + free
        if inside.any() and not possible:
            raise InputError(f"{part.name}: {_NO_ROOM}")
        if inside.any():
            moves[part.port, part.channel] = (part.port, possible[0])
    return moves


_DRUMS_AND_MEMBER = (
    "is drums on channel 10 and a member of an MPE zone by turns, which no file without zones can say; "
    "put the drums or the zone on another port, or take channel 10 out of the zone"
)
_NO_ROOM = (
    "channel 10 is a member of an MPE zone, outside of which it plays drums, and no other channel is free for its "
    "notes; take channel 10 out of the zone, or give its notes to other channels"
)


def _managers_of_channel_10(events: tuple[OtherEvent, ...], port: int) -> list[tuple[int, int | None]]:
    """(rank, manager) wherever channel 10 joins or leaves a zone."""
    states = {LOWER: ChannelState(), UPPER: ChannelState()}
    found: list[tuple[int, int | None]] = []
    zones = Zones()
    for event in events:
        if event.port != port or event.channel not in states or event.message.type != "control_change":
            continue
        state = states[event.channel]
        if event.message.control == CC_DATA_MSB and state.selection == CONFIGURATION:
            zones.configure(event.channel, event.message.value)
            found.append((event.rank, zones.manager_of(PERCUSSION_CHANNEL)))
        state.take(event.message, event.rank)
    return found

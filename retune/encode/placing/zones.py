"""MPE zones: which instruments get one, how many members, and where everything else goes.

M1-100-UM v1.1 (MIDI Polyphonic Expression): a Lower zone is managed on channel 1 with members from 2 upward,
an Upper zone on channel 16 with members from 15 downward; channels in no zone stay conventional (2.2.1).
Lower by default, because many devices know only that (A.2).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from retune.constants import CHANNELS_PER_PORT, PERCUSSION_CHANNEL
from retune.encode.placing.quota import most_at_once, needed_channels
from retune.encode.placing.spread import demand_of, rested_ticks
from retune.encode.plain.relabel import Address
from retune.encode.survey.instruments import Instrument, refused_kit
from retune.encode.survey.music import Music
from retune.errors import Remark

LOWER, UPPER = 0, CHANNELS_PER_PORT - 1  # manager channels, zero-based

Need = tuple[int, int]
"""Most different tunings and most notes at once."""

Group = list[Instrument]
"""Instruments whose programs and controllers are the same all along: one sound, which one zone can play."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """One zone. Its notes are those of the instrument that has the manager's address."""

    port: int
    manager: int
    size: int

    @property
    def members(self) -> tuple[int, ...]:
        """Member channels, nearest to the manager first."""
        steps = range(1, self.size + 1)
        return tuple(step if self.manager == LOWER else UPPER - step for step in steps)


@dataclass(frozen=True, slots=True, kw_only=True)
class Zones:
    """The zones of a file, and the address every instrument moves to (if it moves)."""

    zones: tuple[Zone, ...]
    addresses: dict[Address, Address]
    remarks: tuple[Remark, ...]


def plan_zones(music: Music, *, further: bool = False, keep_10_free: bool = True) -> Zones:
    """Zones for the tuned instruments.

    Two sounds get a zone each; with more, the two that need most members do, and the others keep conventional
    channels or, with `further`, get zones on further ports where whole tracks can go there.
    """
    lay_out = partial(_lay_out, keep_10_free=keep_10_free, rhythm_channels=music.score.rhythm_channels)
    _refuse_moving_drums(music)
    zones: list[Zone] = []
    addresses: dict[Address, Address] = {}
    left_over: list[Instrument] = []
    next_port = max((i.port for i in music.instruments), default=0) + 1
    for port in sorted({music.instruments[i].port for i in music.tuned}):
        groups = _groups(music, port)
        inner, rest = groups[:2], groups[2:]
        while further and (movable := [g for g in rest if _has_own_tracks(music, g)][:2]):
            rest = [g for g in rest if g not in movable]
            laid = lay_out(next_port, movable, _needs(music, movable), [], {})
            zones += laid.zones
            for (_, channel), target in laid.addresses.items():
                addresses[port, channel] = target
            next_port += 1
        moved_away = {i.index for group in groups if group not in inner + rest for i in group}
        others = _others(music, port, moved_away, inner)
        while inner and not _fits(len(inner), others):
            rest.append(inner.pop())
            others = _others(music, port, moved_away, inner)
        outside = [i for group in rest for i in group]
        left_over += outside
        others.sort(key=lambda i: not i.parts)
        demand = demand_of(music, rested_ticks(music.score), [i.index for i in outside])
        needed = needed_channels(demand, music.wanted, demand.instrument)
        needs = {instrument: channels for instrument, (channels, _) in needed.items()}
        laid = lay_out(port, inner, _needs(music, inner), others, needs)
        zones += laid.zones
        addresses.update(laid.addresses)
    return Zones(zones=tuple(zones), addresses=addresses, remarks=_remarks(left_over))


def _refuse_moving_drums(music: Music) -> None:
    for i in music.instruments:
        if i.parts and i.channel != PERCUSSION_CHANNEL and (i.port, i.channel) in music.score.rhythm_channels:
            raise refused_kit(i.channel, "is in the way of MPE zones")


def _others(music: Music, port: int, moved_away: set[int], inner: Sequence[Group]) -> list[Instrument]:
    """Instruments that share a port with zones."""
    inside = moved_away | {i.index for group in inner for i in group}
    return [i for i in music.instruments if i.port == port and i.index not in inside]


def _fits(zones: int, others: Sequence[Instrument]) -> bool:
    """True if a manager and a member for each of `zones` leave room for the instruments outside."""
    quiet = any(not i.parts for i in others)  # share one channel
    return 2 * zones + sum(map(_needs_room, others)) + quiet <= CHANNELS_PER_PORT - 1  # channel 10 is no room


def _needs_room(instrument: Instrument) -> bool:
    return bool(instrument.parts) and instrument.channel != PERCUSSION_CHANNEL


def _remarks(left_over: Sequence[Instrument]) -> tuple[Remark, ...]:
    if not left_over:
        return ()
    names = ", ".join(i.name for i in left_over)
    return (
        Remark(
            code="zones-full",
            message=f"a port has no room for a zone for every sound: {names} stay{'s' * (len(left_over) == 1)} "
            "on conventional channels, tuned by channel bends",
        ),
    )


def _groups(music: Music, port: int) -> list[Group]:
    """Tuned instruments of a port by sound, those with most notes at once first."""
    by_sound: dict[tuple[object, ...], Group] = {}
    for instrument, sound in _sounds(music, port):
        by_sound.setdefault(sound, []).append(instrument)
    groups = list(by_sound.values())
    needs = _needs(music, groups)
    order = sorted(range(len(groups)), key=lambda k: (-needs[k][0], -needs[k][1]))
    return [groups[k] for k in order]


def _sounds(music: Music, port: int) -> list[tuple[Instrument, tuple[object, ...]]]:
    """Tuned instruments of a port, and all that the input sends to their channels besides notes.

    What comes behind the first of the notes that start at its tick sounds otherwise than what comes before them.
    """
    mine = [music.instruments[i] for i in music.tuned if music.instruments[i].port == port]
    sent: dict[int, list[object]] = {instrument.channel: [] for instrument in mine}
    index_of = {instrument.channel: instrument.index for instrument in mine}
    width = music.score.end_tick + 1
    onsets = music.of_note * width + music.score.notes["onset_tick"]
    order = np.lexsort((music.timeline.on, onsets))
    onsets, first = onsets[order], music.timeline.on[order]
    for event in music.timeline.others:
        if event.port == port and event.channel in sent:
            fields = {k: v for k, v in event.message.__dict__.items() if k not in ("time", "channel")}
            place = index_of[event.channel] * width + event.tick
            k = int(np.searchsorted(onsets, place))
            is_late = k < len(onsets) and onsets[k] == place and first[k] < event.rank
            sent[event.channel].append((event.tick, tuple(fields.items()), bool(is_late)))
    return [(instrument, tuple(sent[instrument.channel])) for instrument in mine]


def _needs(music: Music, groups: Sequence[Group]) -> list[Need]:
    """Most different tunings, and most notes, of each group that sound at once."""
    needs = []
    for group in groups:
        members = [i.index for i in group]
        demand = demand_of(music, rested_ticks(music.score), members)
        together = np.zeros(len(demand.note), np.int64)
        tunings, _ = needed_channels(demand, music.wanted, together)[0]
        notes = int(most_at_once(demand.on, demand.end, together, together)[0])
        needs.append((tunings, max(tunings, notes)))
    return needs


def _has_own_tracks(music: Music, group: Group) -> bool:
    """True if no other instrument is in the tracks of a group, and the group in no others."""
    score, addresses = music.score, {(i.port, i.channel) for i in group}
    tracks = {score.parts[p].track for i in group for p in i.parts}
    for event in music.timeline.others:
        if event.channel >= 0 and ((event.port, event.channel) in addresses) != (event.track in tracks):
            return False
    return all((p.port, p.channel) in addresses for p in score.parts if p.track in tracks)


def _lay_out(
    port: int,
    groups: Sequence[Group],
    needs: list[Need],
    others: Sequence[Instrument],
    conventional: dict[int, int],
    *,
    keep_10_free: bool,
    rhythm_channels: Collection[Address],
) -> Zones:
    """Zones for one or two groups, and room for the others: as many channels as `conventional` says, or one.

    An instrument that is not in a zone stays on its channel where that lies outside the zones. What is sent
    to channels without notes must not reach members: it shares one channel outside.
    """
    drums = any(i.parts and i.channel == PERCUSSION_CHANNEL for i in others)
    outside = sum(conventional.get(i.index, 1) for i in others if _needs_room(i))
    outside += any(not i.parts for i in others)  # one for all that have no notes
    sizes = _sizes(needs, outside, drums=drums, skip_10=keep_10_free)
    zones = tuple(Zone(port=port, manager=m, size=n) for m, n in zip((LOWER, UPPER), sizes, strict=False))
    taken = {channel for zone in zones for channel in (zone.manager, *zone.members)}
    addresses: dict[Address, Address] = {}
    for zone, group in zip(zones, groups, strict=True):
        for instrument in group:
            addresses[port, instrument.channel] = (port, zone.manager)
    staying = {i.channel for i in others if i.parts and i.channel not in taken}
    quiet = {i.channel for i in others if not i.parts}
    drum_kits = {PERCUSSION_CHANNEL, *(channel for at, channel in rhythm_channels if at == port)}
    free = [c for c in range(CHANNELS_PER_PORT) if c not in taken | staying | drum_kits]
    free.sort(key=quiet.__contains__)
    members = [c for zone in zones for c in zone.members if c != PERCUSSION_CHANNEL]
    for instrument in others:
        if instrument.channel in taken:  # those without notes come last, and share a channel
            target = (free or members).pop(0) if instrument.parts else (free or members)[-1]
            addresses[port, instrument.channel] = (port, target)
            if instrument.parts:  # nothing else may be sent there
                taken.add(target)
    return Zones(zones=zones, addresses=addresses, remarks=())


def _sizes(needs: list[Need], outside: int, *, drums: bool, skip_10: bool) -> list[int]:
    """Members of each zone, so that `outside` channels stay out of them, and channel 10 if there are drums.

    Two zones get what their tunings need, if there is room for that, and share the rest by their notes; where
    room is short, the smaller need is met first, up to half of it. With `skip_10` channel 10 may lie within a
    zone but carries no notes.
    """
    if not needs:
        return []
    unused = drums or skip_10 or outside > 0
    room = CHANNELS_PER_PORT - unused - len(needs) - outside
    below = PERCUSSION_CHANNEL - 1 if drums else room
    above = UPPER - 1 - PERCUSSION_CHANNEL if drums else room
    if len(needs) == 1:
        lower, upper = min(room, below), 0
    else:
        (first, first_notes), (second, second_notes) = needs
        rest = room - first - second
        share = round(max(rest, 0) * second_notes / (first_notes + second_notes))
        upper = max(1, min(second + share if rest >= 0 else min(second, room // 2), above))
        lower = min(room - upper, below)
    sizes = [max(1, lower) + (unused and lower >= PERCUSSION_CHANNEL)]
    return sizes if len(needs) == 1 else [*sizes, upper + (unused and upper >= UPPER - PERCUSSION_CHANNEL)]

"""Tuning by MPE: every note on a member channel of its own, everything else on the manager channel.

M1-100-UM v1.1 (MIDI Polyphonic Expression), section numbers below. The bend range is sent to the manager and,
explicitly, to every member: a plain receiver ignores the configuration message and would keep its own range.
The standard sets members to 48 semitones, whose steps of 0.59 cents are coarser than tuning wants; they get
the range of the options.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import partial
from math import ceil

import mido
import numpy as np

from retune.arrays import begins
from retune.constants import (
    BEND_CENTRE,
    CC_DATA_LSB,
    CC_DATA_MSB,
    CC_RESET_ALL_CONTROLLERS,
    DEFAULT_BEND_RANGE_SEMITONES,
    MOST_BEND_RANGE_SEMITONES,
    PERCUSSION_CHANNEL,
    RPN_BEND_RANGE,
    RPN_MPE_CONFIGURATION,
)
from retune.encode import messages as build
from retune.encode.bend import BendConductor, read_bends
from retune.encode.losses import bend_rounding, losses
from retune.encode.model import Encoded
from retune.encode.placing.allocate import Placement
from retune.encode.placing.channels import Lane, Lanes
from retune.encode.placing.share import place_notes
from retune.encode.placing.spread import Spread, channels_used, demand_of, rested_ticks, spread_notes
from retune.encode.placing.zones import Zone, plan_zones
from retune.encode.plain.devices import told_to_all
from retune.encode.plain.relabel import Address, relabel
from retune.encode.plain.whole_groups import with_whole_groups
from retune.encode.survey.instruments import KNOWN_PARAMETERS, Habits, Selection, refused_kit
from retune.encode.survey.music import Music
from retune.encode.survey.parameters import PRESSURE
from retune.encode.survey.timeline import OtherEvent
from retune.encode.writing.lines import Line, Voice
from retune.encode.writing.performance import Performance, Task, write_spread
from retune.encode.writing.rewrite import FileRewrite, Place
from retune.errors import OptionError
from retune.options import Options
from retune.score.model import IntArray, Score
from retune.tuning.model import Tuning

CC_TIMBRE = 74
ALWAYS = 1 << 62  # a tick behind every file
PER_NOTE = {PRESSURE: 0, CC_TIMBRE: 64}  # what else a member does to its notes (2.2.7, 2.4), and its rest
CHANNEL_TUNING = (
    ("rpn", (0, 1)),
    ("rpn", (0, 2)),
)  # fine and coarse: MIDI 1.0 Detailed Specification 4.2.1 p. 18
UNKNOWN = -1  # in place of a bend: the channel may have any


def encode_mpe(score: Score, tuning: Tuning, options: Options) -> Encoded:
    """Encode in one or two zones a port; what does not fit there keeps conventional channels."""
    original, _ = read_bends(score, tuning, options)
    plan = plan_zones(
        original, further=options.when_full == "ports", keep_10_free=options.keep_channel_10_free
    )
    silent = [(i.port, i.channel) for i in original.instruments if not i.parts]
    shared = {address: plan.addresses.get(address, address) for address in silent}
    score = told_to_all(relabel(with_whole_groups(score, shared), plan.addresses), plan.addresses)
    managers = {(zone.port, zone.manager): zone for zone in plan.zones}
    music, ranges = read_bends(score, tuning, options, managed=managers)
    zone_of = {
        i.index: managers[i.port, i.channel] for i in music.instruments if (i.port, i.channel) in managers
    }
    outside = replace(music, tuned=tuple(i for i in music.tuned if i not in zone_of))
    inside = replace(music, tuned=tuple(i for i in music.tuned if i in zone_of))
    reserved = {(zone.port, c) for zone in plan.zones for c in (zone.manager, *zone.members)}
    conventional = spread_notes(outside, reserved=reserved)
    in_zones = _place_in_zones(inside, zone_of, keep_10_free=options.keep_channel_10_free)
    manager_ranges = [_manager_range(habits) for habits in music.habits]
    make = partial(ZoneConductor, zone_of=zone_of, ranges=ranges, manager_ranges=manager_ranges)
    file = FileRewrite(score)
    write_spread(file, conventional, partial(BendConductor, ranges=ranges), Performance)
    write_spread(file, in_zones, make, ZonePerformance)
    found = [losses(spread, tuning) for spread in (conventional, in_zones)]
    rounding = max(
        bend_rounding(music.habits, ranges, outside.tuned),
        bend_rounding(music.habits, manager_ranges, inside.tuned),
    )
    return Encoded(
        files=(file.encoded(),),
        channels_used=channels_used(music, np.maximum(conventional.placement.lane, in_zones.placement.lane)),
        worst_error_cents=max(worst for worst, _ in found) + rounding,
        remarks=(*plan.remarks, *(remark for _, remarks in found for remark in remarks)),
    )


def _place_in_zones(music: Music, zone_of: dict[int, Zone], *, keep_10_free: bool) -> Spread:
    """Give every note in a zone a member channel."""
    rested = rested_ticks(music.score)
    placement = Placement.of_none(len(music.of_note))
    lanes: dict[int, dict[int, Lane]] = {}
    for index in music.tuned:
        zone = zone_of[index]
        members = _members(zone, music.score.rhythm_channels, keep_10_free=keep_10_free)
        demand = demand_of(music, rested, [index])
        make = partial(_zone_lanes, index, members)
        placed = place_notes(demand, music.wanted, make, {index: float(music.steps[index])})
        placement.take(placed)
        lanes.setdefault(zone.port, {}).update(placed.lanes.by_number())
    _refuse_crossed_releases(music, placement.lane)
    return Spread(music=music, lanes=lanes, further_ports={}, placement=placement, rested=rested)


def _refuse_crossed_releases(music: Music, lane: IntArray) -> None:
    """Raise `OptionError` where a track has equal keys on a member that do not end in the order they began in."""
    placed = (lane >= 0).nonzero()[0]
    table, columns = music.score.notes[placed], (music.timeline.on, music.timeline.off, music.of_note, lane)
    on, off, zone, member = (column[placed] for column in columns)
    order = np.lexsort((on, table["key"], table["track"], member, zone))
    group = begins(*(column[order] for column in (table["key"], table["track"], member, zone))).cumsum()
    ends = off[order] + group * (int(off.max(initial=0)) + 1)
    crossed = order[1:][ends[1:] < np.maximum.accumulate(ends)[:-1]]
    if len(crossed):
        where = music.score.where(int(table["onset_tick"][crossed].min()))
        raise OptionError(
            f"{where}: so many equal keys sound at once that they share a channel of an MPE zone, where the release of "
            "one would end another; use another --encoding"
        )


def _members(zone: Zone, rhythm_channels: Collection[Address], *, keep_10_free: bool) -> list[int]:
    """Channels of a zone that carry notes: none that a message makes a drum kit, channel 10 if there is no other."""
    members = [c for c in zone.members if (zone.port, c) not in rhythm_channels]
    if not members:
        raise refused_kit(zone.members[0], "leaves no room for an MPE zone")
    return [c for c in members if c != PERCUSSION_CHANNEL or not keep_10_free] or members


def _zone_lanes(index: int, members: Iterable[int]) -> Lanes:
    lanes = Lanes(homes={}, pool=[], quota={}, apart=True)
    lanes.held[index] = [Lane(number=channel) for channel in members]
    return lanes


class ZonePerformance(Performance):
    """The zones of one port."""

    def make_voices(self, port: int) -> dict[int, Voice]:
        """Instruments in zones, on their managers, and what the input sends to members without notes there."""
        voices: dict[int, Voice] = {}
        of_channel = {i.channel: i for i in self.music.instruments if i.port == port}
        for index in self.music.tuned:
            manager = self.music.instruments[index]
            if manager.port == port:
                line = self.lines.setdefault(manager.channel, Line(channel=manager.channel))
                voice = Voice(manager, line, is_tuned=True)
                line.owner = line.guest_of = voice
                line.ringing_until = ALWAYS
                voice.lines.append(line)
                voices[manager.channel] = voice
        for channel, line in self.lines.items():
            guest = of_channel.get(channel)
            if channel not in voices and guest is not None and not guest.parts:
                voices[channel] = Voice(guest, line)
                line.guest_of = voices[channel]
        return voices

    def setups(self) -> Iterator[Task]:
        """Zone configuration ahead of everything, unless a device reset, which repeats it, comes before the notes."""
        assert isinstance(self.conductor, ZoneConductor)
        ons = self.music.timeline.on[self.notes]
        if any(e.channel < 0 and e.rank < int(ons.min()) for e in self.events):
            return
        events = [e for e in self.events if e.channel >= 0]
        table = self.music.score.notes[self.notes[int(np.argmin(ons))]]
        place = Place(int(table["onset_tick"]), int(table["track"]), int(table["on_event"]))
        rank = int(ons.min()) - 2  # ahead of the bend, which has the rank below the note's
        if events and events[0].rank <= rank:
            first = events[0]
            place, rank = Place(first.tick, first.track, first.index), first.rank - 1
        yield rank, place.tick, -1, partial(self.conductor.configure, place), 0, 0, 0


def _manager_range(habits: Habits) -> int:
    """Bend range of a manager [semitones]: the input's own where it bends, rounded up to whole semitones."""
    reach = max(habits.bend_range, habits.bend_cents / 100.0 * BEND_CENTRE / (BEND_CENTRE - 1))
    return min(max(DEFAULT_BEND_RANGE_SEMITONES, ceil(reach - 1e-9)), MOST_BEND_RANGE_SEMITONES)


class ZoneConductor(BendConductor):
    """Sends the bends of notes to members, everything else to managers (2.3.1, 2.4)."""

    def __init__(
        self,
        *args: object,
        port: int,
        zone_of: dict[int, Zone],
        ranges: Sequence[int],
        manager_ranges: Sequence[int],
    ) -> None:
        """`ranges`: bend range of members and managers of each instrument's zone [semitones]."""
        super().__init__(*args, port=port, ranges=manager_ranges)
        self.member_range: dict[int, int] = {}
        self.newest_key: dict[Line, tuple[int, int]] = {}
        self.zones: list[tuple[Zone, Voice, int]] = []
        for voice in self.voices.values():
            zone = zone_of.get(voice.instrument.index)
            if zone is None:
                continue
            self.zones.append((zone, voice, ranges[voice.instrument.index]))
            for channel in zone.members:
                self.member_range[channel] = ranges[voice.instrument.index]
                if channel in self.lines:
                    self.lines[channel].owner, self.lines[channel].stale = voice, False

    def configure(self, place: Place) -> None:
        """Zones and bend ranges: configuration, then the manager's range, then each member's (2.2.1, 2.2.5)."""
        for zone, voice, members_range in self.zones:
            size = ((CC_DATA_MSB, zone.size),)
            self.file.insert_all(build.set_parameter(zone.manager, RPN_MPE_CONFIGURATION, size), place)
            self.file.insert_all(build.bend_range(zone.manager, voice.range_semitones), place)
            for channel in zone.members:
                self.file.insert_all(build.bend_range(channel, members_range), place)

    def is_tuned(self, line: Line, voice: Voice, slot: int, value: int, tick: int) -> bool:
        """True if the bend is right and no pressure is left over from the note before."""
        return line.bend == BEND_CENTRE + value and line.sent[0] != tick and not line.settings.get(PRESSURE)

    def tune(self, line: Line, voice: Voice, slot: int, value: int, place: Place) -> None:
        """Bend, and pressure back to 0, before a note (2.4)."""
        if line.settings.get(PRESSURE) and line.sounding_until <= place.tick:
            self.send(line.set(PRESSURE, 0), line, place)
        line.values[slot] = value
        self.send_tuning(line, voice, place)

    def total(self, line: Line, voice: Voice) -> int:
        """Members: the tuning; manager: the bend of the input, which receivers add (C.1)."""
        return super().total(line, voice) if line is voice.home else BEND_CENTRE + line.values.get(0, 0)

    def data_entry(self, voice: Voice, event: OtherEvent, after: Place) -> None:
        """A bend range for a member would be one for the whole zone (2.2.5): it gives way to the zone's."""
        ours = self.member_range.get(event.channel)
        if ours is None or voice.bend.selection != ("rpn", RPN_BEND_RANGE):
            super().data_entry(voice, event, after)
            if voice.bend.selection in CHANNEL_TUNING:
                self._tune_members(voice, voice.bend.selection, after)
        elif event.message.control == CC_DATA_MSB:
            self.file.replace(event.track, event.index, build.control(event.channel, CC_DATA_MSB, ours))
        else:
            self.file.replace(event.track, event.index, build.control(event.channel, CC_DATA_LSB, 0))

    def _tune_members(self, voice: Voice, selection: Selection, after: Place) -> None:
        """Channel tuning is that of one channel: each member gets what its manager has, and no other."""
        kind, number = selection
        for line in self.lines.values():
            owner = line.owner
            if owner is None or line is owner.home or voice not in (owner, line.guest_of):
                continue
            data = tuple(owner.parameters.get(selection, KNOWN_PARAMETERS[selection]))
            group = build.set_parameter(line.channel, number, data, kind=kind, then=line.selection)
            self.send(group, line, after)

    def mode(self, voice: Voice, number: int, message: mido.Message, after: Place) -> None:
        """After controller 121 on the manager the members may have any bend: those that sound get theirs again."""
        super().mode(voice, number, message, after)
        if number == CC_RESET_ALL_CONTROLLERS:
            for line in self.lines.values():
                if line.owner is voice and line is not voice.home:
                    self.restore(line, after)

    def follow_key(self, voice: Voice, event: OtherEvent, after: Place) -> None:
        """Poly pressure is not for members (2.2.7): the note's member gets channel pressure beside it."""
        key = (voice.instrument.index, event.message.note)
        sounding = [(until, line) for until, line in self.sounding_keys.get(key, ()) if until >= event.tick]
        self.sounding_keys[key] = sounding
        for line in dict.fromkeys(line for _, line in sounding if self.newest_key.get(line) == key):
            self.send(line.set(PRESSURE, event.message.value), line, after)

    def remember_key(self, voice: Voice, key: int, until: int, line: Line) -> None:
        """Note where a key sounds; the pressure of a member is that of its newest note."""
        super().remember_key(voice, key, until, line)
        self.newest_key[line] = (voice.instrument.index, key)

    def device_reset(self, after: Place) -> None:
        """The zones are gone: the whole configuration once more."""
        for voice in self.voices.values():
            voice.reset()
        for line in self.lines.values():
            line.reset()
        self.configure(after)
        for line in self.lines.values():
            self.restore(line, after)

    def restore(self, line: Line, after: Place) -> None:
        """Bring the per-note settings of a member back, at once if it sounds."""
        line.stale = False
        voice = line.owner
        if voice is not None and line is not voice.home:
            line.bend = UNKNOWN
            for number in [n for n in PER_NOTE if n in line.settings]:
                self.send(line.set(number, PER_NOTE[number]), line, after)
            if line.sounding_until > after.tick:
                self.send_tuning(line, voice, after)

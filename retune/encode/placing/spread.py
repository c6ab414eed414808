"""One instrument over several channels: which notes go where.

Used by every encoding that tunes whole channels (pitch bend, scale/octave tables, tuning programs).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from retune.arrays import among
from retune.constants import CHANNELS_PER_PORT, PERCUSSION_CHANNEL
from retune.encode.placing.allocate import Placement
from retune.encode.placing.channels import Lane, Lanes
from retune.encode.placing.demand import Demand
from retune.encode.placing.quota import Need, needed_channels, quotas
from retune.encode.placing.share import place_notes
from retune.encode.survey.instruments import Instrument, refused_kit
from retune.encode.survey.music import Music
from retune.score.model import IntArray, Score

TAIL_SECONDS = 1.0
"""How long a released note is taken to ring on; chosen by us. Organs stop sooner, pads ring longer."""


class Spread(NamedTuple):
    """The channel of every note of the tuned instruments."""

    music: Music
    lanes: dict[int, dict[int, Lane]]  # by port, then number
    further_ports: dict[int, list[int]]  # by port: the further ports it opened
    placement: Placement
    rested: IntArray  # (n_notes,) tick at which each note's tail has died away

    def port_of(self, port: int, number: int) -> int:
        """Further port of a lane, -1 if it is on the port of its instrument."""
        step = number // CHANNELS_PER_PORT
        return self.further_ports[port][step - 1] if step else -1


def channels_used(music: Music, lanes: IntArray) -> int:
    """Number of channels, over all ports, that carry notes; `lanes` (n_notes,) is -1 for notes not moved."""
    used = {(i.port, i.channel) for i in music.instruments if i.parts and i.index not in music.tuned}
    ports = np.array([i.port for i in music.instruments] or [0])[music.of_note]
    width = int(lanes.max(initial=0)) + 1
    notes_on = np.bincount((ports * width + lanes)[lanes >= 0])
    return len(used | {divmod(code, width) for code in notes_on.nonzero()[0].tolist()})


def _refuse_part_time_drums(music: Music, tuned: list[Instrument]) -> None:
    for instrument in tuned:
        if (instrument.port, instrument.channel) in music.score.rhythm_channels:
            raise refused_kit(instrument.channel, f"cuts {instrument.name} in two")


def spread_notes(
    music: Music,
    *,
    further: bool = False,
    joint: bool = True,
    tails: bool = True,
    reserved: Collection[tuple[int, int]] = (),
) -> Spread:
    """Give every note of the tuned instruments a channel.

    `further`: open further ports where channels run out, instead of sharing. `tails`: leave released notes
    time to die away. `reserved` ports and channels are not used. See `place_notes` for `joint`.
    """
    rested = rested_ticks(music.score)
    placement = Placement.of_none(len(music.of_note))
    lanes: dict[int, dict[int, Lane]] = {}
    ports = _Ports(max((i.port for i in music.instruments), default=0) + 1)
    steps = {i: float(music.steps[i]) for i in music.tuned}
    for port in sorted({music.instruments[i].port for i in music.tuned}):
        mine = [music.instruments[i] for i in music.tuned if music.instruments[i].port == port]
        _refuse_part_time_drums(music, mine)
        silent_at = rested if tails else music.score.notes["sounding_end_tick"]
        demand = demand_of(music, silent_at, [i.index for i in mine])
        channels = _Channels(music, port, mine, demand, ports if further else None, reserved)
        placed = place_notes(demand, music.wanted, channels.make, steps, joint=joint)
        placement.take(placed)
        lanes[port] = placed.lanes.by_number()
    return Spread(music=music, lanes=lanes, further_ports=ports.opened, placement=placement, rested=rested)


def rested_ticks(score: Score) -> IntArray:
    """Tick at which the tail of each note has died away."""
    return score.clock.ticks(score.clock.seconds(score.notes["sounding_end_tick"]) + TAIL_SECONDS)


def demand_of(music: Music, rested: IntArray, instruments: list[int]) -> Demand:
    """The notes of some instruments, to be placed."""
    has_rows = np.diff(music.wanted.first) > 0
    notes = np.nonzero(among(music.of_note, instruments) & has_rows)[0]
    table, timeline = music.score.notes[notes], music.timeline
    return Demand(
        note=notes,
        instrument=music.of_note[notes],
        slot=music.slots[notes],
        key=table["key"].astype(np.int64),
        on=timeline.on[notes],
        off=timeline.off[notes],
        end=timeline.end[notes],
        on_tick=table["onset_tick"],
        end_tick=table["sounding_end_tick"],
        rested=rested[notes],
    )


@dataclass(slots=True)
class _Ports:
    """Numbers of further ports (FF 21), opened as needed."""

    first: int
    opened: dict[int, list[int]] = field(default_factory=dict)

    def open(self, port: int, step: int) -> None:
        """Make sure that a port has `step` further ones."""
        mine = self.opened.setdefault(port, [])
        while len(mine) < step:
            mine.append(self.first + sum(len(ports) for ports in self.opened.values()))


@dataclass(slots=True)
class _Channels:
    """The channels of one port, made afresh for every attempt at placing notes."""

    music: Music
    port: int
    mine: list[Instrument]
    demand: Demand
    ports: _Ports | None
    reserved: Collection[tuple[int, int]]
    needs: dict[int, Need] = field(init=False)
    busy_ranks: dict[int, list[int]] = field(default_factory=dict)  # by instrument, where asked for

    def __post_init__(self) -> None:
        found = needed_channels(self.demand, self.music.wanted, self.demand.instrument)
        self.needs = {i.index: found.get(i.index, (1, False)) for i in self.mine}

    def make(self) -> Lanes:
        """All channels, nothing placed yet: unused ones first, then those with events but no notes."""
        lanes = [Lane(number=channel) for channel in range(CHANNELS_PER_PORT)]
        reserved = {*self.reserved, *self.music.score.rhythm_channels}
        quiet, taken = [], {PERCUSSION_CHANNEL, *(c for port, c in reserved if port == self.port)}
        for instrument in self.music.instruments:
            if instrument.port == self.port:
                lane = lanes[instrument.channel]
                lane.home = instrument.index
                if not instrument.parts and instrument.channel not in taken and not self._is_kept(instrument):
                    quiet.append(lane)
                taken.add(instrument.channel)
        pool = [lane for lane in lanes if lane.number not in taken] + quiet
        homes = {i.index: lanes[i.channel] for i in self.mine}
        habits = self.music.habits
        opened = 0

        def more() -> list[Lane]:
            nonlocal opened
            opened += 1
            assert self.ports is not None
            self.ports.open(self.port, opened)
            numbers = range(opened * CHANNELS_PER_PORT, (opened + 1) * CHANNELS_PER_PORT)
            return [Lane(number=n) for n in numbers if n % CHANNELS_PER_PORT != PERCUSSION_CHANNEL]

        return Lanes(
            homes=homes,
            pool=pool,
            quota=quotas(self.needs, len(pool)),
            is_clear=self._is_clear,
            mono=frozenset(i.index for i in self.mine if habits[i.index].is_mono),
            private=frozenset(i.index for i in self.mine if habits[i.index].has_parameters),
            more=more if self.ports else None,
        )

    def _is_kept(self, instrument: Instrument) -> bool:
        """True if a channel without notes gets messages whose effect on a guest could not be undone."""
        habits = self.music.habits[instrument.index]
        return habits.ends_notes or habits.has_parameters

    def _is_clear(self, instrument: int, on: int, end: int) -> bool:
        """True if an instrument has no event on its own channel between two ranks."""
        ranks = self.busy_ranks.get(instrument)
        if ranks is None:
            ranks = self.busy_ranks[instrument] = self._find_busy_ranks(instrument)
        k = bisect_right(ranks, on)
        return k == len(ranks) or ranks[k] > end

    def _find_busy_ranks(self, instrument: int) -> list[int]:
        """Ranks of all events on an instrument's own channel."""
        channel, demand = self.music.instruments[instrument].channel, self.demand
        others = (e for e in self.music.timeline.others if e.port == self.port and e.channel == channel)
        return sorted([*(e.rank for e in others), *demand.on[demand.instrument == instrument].tolist()])

"""One instrument over several channels: the plan, and the file written from it.

Used by every encoding that tunes whole channels (pitch bend, scale/octave tables, tuning programs).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from functools import partial
from operator import itemgetter

import numpy as np

from retune.constants import CHANNELS_PER_PORT, PERCUSSION_CHANNEL
from retune.encode.allocate import Demand, Lane, Lanes, Placement
from retune.encode.conduct import CC_PORTAMENTO_FROM, ONE_SHOT, Conductor
from retune.encode.instruments import Instrument
from retune.encode.lines import Line, Voice
from retune.encode.model import EncodedFile
from retune.encode.music import Music
from retune.encode.quota import quotas
from retune.encode.rewrite import FileRewrite, Place
from retune.encode.share import place_notes
from retune.encode.timeline import OtherEvent
from retune.score import moved
from retune.score.model import IntArray, Score

TAIL_SECONDS = 1.0
"""How long a released note is taken to ring on; chosen by us. Organs stop sooner, pads ring longer."""


Task = tuple[int, int, int, "Callable[[], None] | None", int, int, int]
"""Rank, tick, note (-1: none), what to do besides, track, position, value."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
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
    placed = np.nonzero(lanes >= 0)[0]
    ports = np.array([i.port for i in music.instruments] or [0])[music.of_note[placed]]
    pairs = np.unique(np.stack([ports, lanes[placed]]), axis=1)
    return len(used | {(int(p), int(n)) for p, n in pairs.T})


def spread_notes(
    music: Music, *, further: bool = False, joint: bool = True, reserved: Collection[tuple[int, int]] = ()
) -> Spread:
    """Give every note of the tuned instruments a channel.

    `further`: open further ports where channels run out, instead of sharing. `reserved` ports and channels
    are not used. See `place_notes` for `joint`.
    """
    n = len(music.score.notes)
    rested = rested_ticks(music.score)
    lane, value = np.full(n, -1, np.int64), np.zeros(n, np.int64)
    shared: dict[int, tuple[tuple[int, int], ...]] = {}
    cut: dict[int, int] = {}
    lanes: dict[int, dict[int, Lane]] = {}
    ports = _Ports(max((i.port for i in music.instruments), default=0) + 1)
    steps = {i: float(music.steps[i]) for i in music.tuned}
    for port in sorted({music.instruments[i].port for i in music.tuned}):
        mine = [music.instruments[i] for i in music.tuned if music.instruments[i].port == port]
        demand = demand_of(music, rested, [i.index for i in mine])
        channels = _Channels(music, port, mine, demand, ports if further else None, reserved)
        placement, used = place_notes(demand, music.wanted, channels.make, n, steps, joint=joint)
        lane[demand.note], value[demand.note] = (
            placement.lane[demand.note],
            placement.start_value[demand.note],
        )
        shared.update(placement.shared)
        cut.update(placement.cut)
        lanes[port] = {
            a.number: a
            for a in [*used.pool, *used.further, *(a for held in used.held.values() for a in held)]
        }
    return Spread(
        music=music,
        lanes=lanes,
        further_ports=ports.opened,
        placement=Placement(lane=lane, start_value=value, shared=shared, cut=cut),
        rested=rested,
    )


def rested_ticks(score: Score) -> IntArray:
    """Tick at which the tail of each note has died away."""
    return score.clock.ticks(score.clock.seconds(score.notes["sounding_end_tick"]) + TAIL_SECONDS)


def demand_of(music: Music, rested: IntArray, instruments: list[int]) -> Demand:
    """The notes of some instruments, to be placed."""
    has_rows = np.diff(music.wanted.first) > 0
    notes = np.nonzero(np.isin(music.of_note, instruments) & has_rows)[0]
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

    def make(self) -> Lanes:
        """All channels, nothing placed yet: unused ones first, then those with events but no notes."""
        lanes = [Lane(number=channel) for channel in range(CHANNELS_PER_PORT)]
        quiet, taken = [], {PERCUSSION_CHANNEL, *(c for port, c in self.reserved if port == self.port)}
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
            quota=quotas(self.demand, self.music.wanted, list(homes), len(pool)),
            busy_ranks=self._busy_ranks(homes),
            mono=frozenset(i.index for i in self.mine if habits[i.index].is_mono),
            private=frozenset(i.index for i in self.mine if habits[i.index].has_parameters),
            more=more if self.ports else None,
        )

    def _is_kept(self, instrument: Instrument) -> bool:
        """True if a channel without notes gets messages whose effect on a guest could not be undone."""
        habits = self.music.habits[instrument.index]
        return habits.ends_notes or habits.has_parameters

    def _busy_ranks(self, homes: dict[int, Lane]) -> dict[int, list[int]]:
        by_channel = {self.music.instruments[i].channel: i for i in homes}
        ranks: dict[int, list[int]] = {i: [] for i in homes}
        for event in self.music.timeline.others:
            if event.port == self.port and event.channel in by_channel:
                ranks[by_channel[event.channel]].append(event.rank)
        for index, on in zip(self.demand.instrument.tolist(), self.demand.on.tolist(), strict=True):
            ranks[index].append(on)
        return {index: sorted(own) for index, own in ranks.items()}


MakeConductor = Callable[..., Conductor]


def write_file(spread: Spread, make: MakeConductor, performance: type[Performance]) -> EncodedFile:
    """The file of a plan."""
    file = FileRewrite(spread.music.score)
    write_spread(file, spread, make, performance)
    return file.encoded()


def write_spread(
    file: FileRewrite, spread: Spread, make: MakeConductor, performance: type[Performance]
) -> None:
    """Put notes on their channels and write set-up, tuning and copies of the input's channel messages."""
    _move_notes(file, spread)
    for port in spread.lanes:
        performance(file, spread, port, make).play()


def _move_notes(file: FileRewrite, spread: Spread) -> None:
    """Put notes on their channels, those on further ports excepted: note-offs go where their note-ons went."""
    music, lane = spread.music, spread.placement.lane
    home = np.array([i.channel for i in music.instruments] or [0])[music.of_note]
    away = np.nonzero((lane >= 0) & (lane != home) & (lane < CHANNELS_PER_PORT))[0]
    table = music.score.notes[away]
    columns = (table["track"], table["on_event"], table["off_event"], lane[away])
    for track, on, off, channel in zip(*(c.tolist() for c in columns), strict=True):
        messages = file.tracks[track].messages
        messages[on] = moved(messages[on], channel)
        if off >= 0:
            messages[off] = moved(messages[off], channel)


class Performance:
    """Everything that happens on one port, in playing order."""

    def __init__(self, file: FileRewrite, spread: Spread, port: int, make: MakeConductor) -> None:
        """`make` gets file, voices, lines and the finder of one-shot controllers' channels, and `port`."""
        self.file, self.spread, self.music = file, spread, spread.music
        lanes = self.lanes = spread.lanes[port]
        self.lines = {
            n: Line(channel=n % CHANNELS_PER_PORT, port=spread.port_of(port, n)) for n in sorted(lanes)
        }
        self.events = [e for e in self.music.timeline.others if e.port == port]
        self.voices = self.make_voices(port)
        self.conductor = make(file, self.voices, self.lines, self._next_line, port=port)
        self.of_instrument = {v.instrument.index: v for v in self.voices.values()}
        mine = np.isin(self.music.of_note, list(self.of_instrument))
        self.notes = np.nonzero((spread.placement.lane >= 0) & mine)[0]
        self._one_shots = self._find_one_shots()

    def make_voices(self, port: int) -> dict[int, Voice]:
        """Instruments by channel: those that are tuned, and those without notes, whose channels may be used."""
        voices: dict[int, Voice] = {}
        for instrument in self.music.instruments:
            tuned = instrument.index in self.music.tuned
            if (
                instrument.port == port
                and instrument.channel in self.lines
                and (tuned or not instrument.parts)
            ):
                line = self.lines[instrument.channel]
                voice = Voice(instrument, line, is_tuned=tuned)
                line.owner = line.guest_of = voice
                voice.lines.append(line)
                voices[instrument.channel] = voice
        return voices

    def play(self) -> None:
        """Send everything."""
        music, placement = self.music, self.spread.placement
        notes = music.score.notes
        lane, of_note = placement.lane.tolist(), music.of_note.tolist()
        slots, keys = music.slots.tolist(), notes["key"].tolist()
        ends, rested = notes["sounding_end_tick"].tolist(), self.spread.rested.tolist()
        follows = any(e.channel >= 0 and e.message.type == "polytouch" for e in self.events)
        conductor, lines, voices = self.conductor, self.lines, self.of_instrument
        for _, tick, note, what, track, position, value in self.tasks():
            if note < 0:
                if what is not None:
                    what()
                continue
            line, voice, slot = lines[lane[note]], voices[of_note[note]], slots[note]
            if (
                line.stale
                or line.owner is not voice
                or not conductor.is_tuned(line, voice, slot, value, tick)
            ):
                conductor.tune(line, voice, slot, value, Place(tick, track, position))
            end = ends[note]
            if line.sounding_until < end:
                line.sounding_until = end
            if line.until.get(slot, -1) < end:
                line.until[slot] = end
            if line.ringing_until < rested[note]:
                line.ringing_until = rested[note]
            if follows:
                conductor.remember_key(voice, keys[note], end, line)
            if what is not None:
                what()

    def tasks(self) -> list[Task]:
        """Everything that has to be looked at, in playing order."""
        on, off, table = self.music.timeline.on, self.music.timeline.off, self.music.score.notes
        lane, value = self.spread.placement.lane, self.spread.placement.start_value
        near = self.notes[lane[self.notes] < CHANNELS_PER_PORT]
        columns = (
            on[near] - 1,
            table["onset_tick"][near],
            near,
            table["track"][near],
            table["on_event"][near],
        )
        rows = zip(*(c.tolist() for c in (*columns, value[near])), strict=True)
        todo: list[Task] = [(r, t, n, None, k, p, v) for r, t, n, k, p, v in rows]
        for note in self.notes[lane[self.notes] >= CHANNELS_PER_PORT].tolist():
            row, line = table[note], self.lines[int(lane[note])]
            track, start, stop = int(row["track"]), int(row["on_event"]), int(row["off_event"])
            begin = self._mover(track, start, line)
            tick = int(row["onset_tick"])
            todo.append((int(on[note]) - 1, tick, note, begin, track, start, int(value[note])))
            if stop >= 0:
                end = self._mover(track, stop, line)
                todo.append((int(off[note]), int(row["release_tick"]), -1, end, track, stop, 0))
        todo += [(e.rank, e.tick, -1, partial(self.conductor.pass_on, e), 0, 0, 0) for e in self.events]
        todo += self._moves()
        todo += self.setups()
        todo.sort(key=itemgetter(0, 1))
        return todo

    def _mover(self, track: int, index: int, line: Line) -> Callable[[], None]:
        message = self.file.tracks[track].track.messages[index]
        return partial(self.file.replace, track, index, moved(message, line.channel), line.port)

    def _moves(self) -> list[Task]:
        """Moves of sounding notes."""
        wanted, placement = self.music.wanted, self.spread.placement
        low, high = wanted.first[self.notes] + 1, wanted.first[self.notes + 1]
        several = np.nonzero(high > low)[0]
        if not len(several):
            return []
        rows = np.concatenate([np.arange(a, b) for a, b in zip(low[several], high[several], strict=True)])
        note = np.repeat(self.notes[several], (high - low)[several])
        cut = placement.cut
        kept = [
            n not in placement.shared and not (n in cut and tick >= cut[n])
            for n, tick in zip(note.tolist(), wanted.tick[rows].tolist(), strict=True)
        ]
        rows, note = rows[kept], note[kept]
        track, tick = self.music.score.notes["track"][note], wanted.tick[rows]
        rank, position = np.zeros(len(rows), np.int64), np.zeros(len(rows), np.int64)
        for t in np.unique(track).tolist():
            here = track == t
            position[here], rank[here] = self.music.timeline.insertion_ranks(self.music.score, t, tick[here])
        columns = (c.tolist() for c in (rank, tick, note, track, position, wanted.value[rows]))
        return [(r, t, n, None, k, p, v) for r, t, n, k, p, v in zip(*columns, strict=True)]

    def setups(self) -> Iterator[Task]:
        """Set-up of channels ahead of the music: behind the instrument's own set-up, where notes follow later.

        Not on a tick with a device reset, which needs time before it takes set-up (GM2 4.9.1); those channels
        are set up with their first note, like those of an instrument whose first event is a note.
        """
        resets = {e.tick for e in self.events if e.channel < 0}
        onsets = self.music.score.notes["onset_tick"][self.notes]
        for index, voice in self.of_instrument.items():
            own = [e for e in self.events if e.channel == voice.instrument.channel]
            mine = onsets[self.music.of_note[self.notes] == index]
            if not own or not len(mine) or own[0].tick >= int(mine[0]) or own[0].tick in resets:
                continue
            last = [e for e in own if e.tick == own[0].tick][-1]
            place = Place(last.tick, last.track, last.index + 1)
            for number, lane in sorted(self.lanes.items()):
                if lane.first_user == index and lane.home in (-1, index):
                    line = self.lines[number]
                    ready = partial(self.conductor.agree, line, voice, place)
                    yield last.rank + 1, last.tick, -1, ready, 0, 0, 0

    def _find_one_shots(self) -> dict[int, tuple[list[int], list[int]]]:
        """For instruments that use one-shot controllers: ranks of note messages, and their lanes."""
        found: dict[int, tuple[list[int], list[int]]] = {}
        users = {
            e.channel
            for e in self.events
            if e.channel >= 0 and e.message.type == "control_change" and e.message.control in ONE_SHOT
        }
        timeline, lane = self.music.timeline, self.spread.placement.lane
        for channel in users & self.voices.keys():
            notes = self.notes[self.music.of_note[self.notes] == self.voices[channel].instrument.index]
            ranks = np.concatenate([timeline.on[notes], timeline.off[notes]])
            order = np.argsort(ranks, kind="stable")
            is_on = np.repeat([True, False], len(notes))[order]
            lanes = np.concatenate([lane[notes], lane[notes]])[order]
            ranks = ranks[order]
            found[2 * channel] = (ranks.tolist(), lanes.tolist())
            found[2 * channel + 1] = (ranks[is_on].tolist(), lanes[is_on].tolist())
        return found

    def _next_line(self, event: OtherEvent) -> Line | None:
        only_on = event.message.control == CC_PORTAMENTO_FROM
        ranks, lanes = self._one_shots.get(2 * event.channel + only_on, ([], []))
        k = bisect_right(ranks, event.rank)
        return self.lines[lanes[k]] if k < len(ranks) else None

"""The file of a plan: everything that happens on one port, in playing order, handed to a conductor."""

from __future__ import annotations

from bisect import bisect_right
from collections import deque
from collections.abc import Callable, Iterator
from functools import partial
from operator import itemgetter

import numpy as np

from retune.arrays import among
from retune.constants import CHANNELS_PER_PORT
from retune.encode import messages as build
from retune.encode.model import EncodedFile
from retune.encode.placing.spread import Spread
from retune.encode.survey.timeline import OtherEvent
from retune.encode.writing.conduct import CC_PORTAMENTO_FROM, ONE_SHOT, Conductor
from retune.encode.writing.lines import Line, Voice
from retune.encode.writing.rewrite import FileRewrite, Place

Task = tuple[int, int, int, "Callable[[], None] | None", int, int, int]
"""Rank, tick, note (-1: none), what to do besides, track, position, value."""


_PLAYING = itemgetter(0, 1, 4)  # between events, too, track by track
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
    away = ((lane >= 0) & (lane != home) & (lane < CHANNELS_PER_PORT)).nonzero()[0]
    table, messages = music.score.notes[away], file.messages
    first, channels = np.array(file.first)[table["track"]], lane[away].tolist()
    for events in (table["on_event"], table["off_event"]):
        for place, channel in zip((first + events).tolist(), channels, strict=True):
            message = messages[place]
            messages[place] = build.note(message.type, channel, message.note, message.velocity)


class Performance:
    """Everything that happens on one port, in playing order."""

    def __init__(self, file: FileRewrite, spread: Spread, port: int, make: MakeConductor) -> None:
        """`make` gets file, voices, lines and the finder of one-shot controllers' channels, and `port`."""
        self.file, self.spread, self.music, self.port = file, spread, spread.music, port
        lanes = self.lanes = spread.lanes[port]
        self.lines = {
            n: Line(channel=n % CHANNELS_PER_PORT, port=spread.port_of(port, n)) for n in sorted(lanes)
        }
        self.events = [e for e in self.music.timeline.others if e.port == port]
        self.voices = self.make_voices(port)
        self.of_instrument = {v.instrument.index: v for v in self.voices.values()}
        mine = among(self.music.of_note, self.of_instrument)
        self.notes = np.nonzero((spread.placement.lane >= 0) & mine)[0]
        # It must not know the performance, or neither would be freed before the collector runs again.
        next_line = partial(_next_line, self.lines, self._find_one_shots())
        self.conductor = make(file, self.voices, self.lines, next_line, port=port)

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
        last_track: dict[Line, int] = {}
        tasks, events = self.tasks(), deque(self.events)
        for rank, tick, note, what, track, position, value in tasks:
            while events and events[0].rank < rank:
                conductor.pass_on(events.popleft())
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
            line.values[slot] = value  # also where another channel has tuned the table they share
            end = ends[note]
            if line.sounding_until < end:
                line.sounding_until = end
            if line.until.get(slot, -1) < end:
                line.until[slot] = end
            if line.ringing_until < rested[note]:
                line.ringing_until = rested[note]
            if follows:
                conductor.remember_key(voice, keys[note], end, line)
            last_track[line] = track
            if what is not None:
                what()
        for event in events:
            conductor.pass_on(event)
        for line, track in last_track.items():
            whole = music.score.tracks[track]
            conductor.finish(line, Place(whole.end_tick, track, len(whole.messages)))

    def tasks(self) -> list[Task]:
        """Everything that has to be looked at, in playing order, but for the events of the input."""
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
            end = self._mover(track, stop, line)
            todo.append((int(off[note]), int(row["release_tick"]), -1, end, track, stop, 0))
        todo += self._moves()
        todo += self._for_devices()
        todo += self.setups()
        todo.sort(key=_PLAYING)
        return todo

    def _for_devices(self) -> Iterator[Task]:
        """Master volume, balance and tuning, copied to the devices on further ports."""
        further = sorted({line.port for line in self.lines.values() if line.port >= 0})
        if not further:
            return
        timeline, score = self.music.timeline, self.music.score
        for number, track in enumerate(score.tracks):
            port = 0
            for index, message in enumerate(track.messages):
                if message.type == "midi_port":
                    port = message.port
                elif port == self.port and message.type == "sysex" and build.is_device_control(message):
                    rank = int(timeline.rank[int(timeline.first_of_track[number]) + index])
                    place = Place(int(track.ticks[index]), number, index)
                    for other in further:
                        copy = partial(self.file.insert, message, place, other)
                        yield rank, place.tick, -1, copy, number, index, 0

    def _mover(self, track: int, index: int, line: Line) -> Callable[[], None]:
        message = self.music.score.tracks[track].messages[index]
        return partial(self.file.replace, track, index, self.file.moved(message, line.channel), line.port)

    def _moves(self) -> list[Task]:
        """Moves of sounding notes."""
        note, tick, value = self.music.wanted.moves()
        if not len(note):
            return []
        shared, cut = self.spread.placement.shared, self.spread.placement.cut
        mine = np.zeros(len(self.music.of_note), bool)
        mine[self.notes] = True
        kept = [
            own and n not in shared and not (n in cut and t >= cut[n])
            for own, n, t in zip(mine[note].tolist(), note.tolist(), tick.tolist(), strict=True)
        ]
        note, tick, value = note[kept], tick[kept], value[kept]
        track = self.music.score.notes["track"][note]
        position, rank = self.music.timeline.insertion_ranks(self.music.score, track, tick)
        columns = (c.tolist() for c in (rank, tick, note, track, position, value))
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


def _next_line(
    lines: dict[int, Line], one_shots: dict[int, tuple[list[int], list[int]]], event: OtherEvent
) -> Line | None:
    only_on = event.message.control == CC_PORTAMENTO_FROM
    ranks, lanes = one_shots.get(2 * event.channel + only_on, ([], []))
    k = bisect_right(ranks, event.rank)
    return lines[lanes[k]] if k < len(ranks) else None

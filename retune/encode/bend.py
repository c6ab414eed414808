"""Tuning by channel pitch bend: one channel for each tuning that sounds.

Every receiver has pitch bend, and a range of two semitones gives steps of 0.024 cents (MIDI 1.0 Detailed
Specification 4.2.1 p. 19). Each instrument keeps its own channel and takes further ones only while it has
notes that want different tunings at the same time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from operator import itemgetter

import numpy as np

from retune.constants import BEND_CENTRE, CHANNELS_PER_PORT, PERCUSSION_CHANNEL
from retune.encode.allocate import Demand, Lane, Lanes, Placement, place_notes
from retune.encode.conduct import CC_PORTAMENTO_FROM, Conductor, Place
from retune.encode.instruments import BendExtent, Instrument, bend_extents, find_instruments
from retune.encode.lines import Line, Voice
from retune.encode.model import Encoded, EncodedFile
from retune.encode.quota import quotas
from retune.encode.rewrite import TrackRewrite
from retune.encode.timeline import OtherEvent, Timeline, read_timeline
from retune.encode.wanted import Wanted, wanted_steps
from retune.errors import Remark
from retune.options import Options
from retune.score import moved, write_tracks
from retune.score.model import FloatArray, IntArray, Score
from retune.tuning.model import Tuning
from retune.units import bend_step_cents

TAIL_SECONDS = 1.0
"""How long a released note is taken to ring on; chosen by us. Organs stop sooner, pads ring longer."""

_KILLS = frozenset((120, 123, 124, 125, 126, 127))  # mode messages that end notes: MIDI 1.0 4.2.1 p. 20


@dataclass(frozen=True, slots=True, kw_only=True)
class BendPlan:
    """Everything decided before a message is written."""

    timeline: Timeline
    instruments: tuple[Instrument, ...]
    of_note: IntArray  # (n_notes,) instrument of each note
    tuned: tuple[int, ...]  # instruments with at least one note off equal temperament
    ranges: list[int]  # bend range of each instrument [semitones]
    wanted: Wanted
    rested: IntArray  # (n_notes,) tick at which each note's tail has died away
    lanes: dict[int, list[Lane]]  # by port
    placement: Placement


def encode_bend(score: Score, tuning: Tuning, options: Options) -> Encoded:
    """Encode by pitch bend, one channel a tuning."""
    plan = plan_bends(score, tuning, options)
    tracks = [TrackRewrite(track) for track in score.tracks]
    move_notes(score, plan, tracks)
    conduct(score, plan, tracks)
    data = write_tracks(format=score.format, division=score.division, tracks=[t.build() for t in tracks])
    error, remarks = losses(score, tuning, plan)
    return Encoded(
        files=(EncodedFile(data=data),),
        channels_used=channels_used(score, plan),
        worst_error_cents=error,
        remarks=remarks,
    )


def plan_bends(score: Score, tuning: Tuning, options: Options) -> BendPlan:
    """Decide bend ranges, wanted bends and the channel of every note."""
    timeline = read_timeline(score)
    instruments, of_part = find_instruments(score, timeline.others)
    of_note = of_part[score.notes["part"]] if len(score.parts) else np.zeros(0, np.int64)
    extents = bend_extents(instruments, timeline.others)
    ranges = choose_ranges(tuning, of_note, extents, options.bend_range_semitones)
    step_of_instrument = np.array([bend_step_cents(r) for r in ranges] or [1.0])
    wanted = wanted_steps(tuning, len(score.notes), step_of_instrument[of_note])
    has_row = np.diff(wanted.first) > 0
    moved_rows = np.repeat(of_note, np.diff(wanted.first))[wanted.value != 0]
    tuned = tuple(np.unique(moved_rows).tolist())
    ends = score.notes["sounding_end_tick"]
    rested = score.clock.ticks(score.clock.seconds(ends) + TAIL_SECONDS)
    active = np.isin(of_note, tuned) & has_row
    lanes, placement = _place(score, timeline, instruments, of_note, tuned, wanted, rested, active, options)
    return BendPlan(
        timeline=timeline,
        instruments=instruments,
        of_note=of_note,
        tuned=tuned,
        ranges=ranges,
        wanted=wanted,
        rested=rested,
        lanes=lanes,
        placement=placement,
    )


def choose_ranges(tuning: Tuning, of_note: IntArray, extents: Sequence[BendExtent], least: int) -> list[int]:
    """Bend range of each instrument [semitones]: `least`, or wider where the bends would not fit.

    Where the input bends, its own range is kept if it is wider, so that its bends keep their values.
    """
    offsets = np.zeros(len(extents))
    np.maximum.at(offsets, of_note[tuning.offsets["note"]], np.abs(tuning.offsets["offset_cents"]))
    ranges = []
    for offset, extent in zip(offsets.tolist(), extents, strict=True):
        reach = (offset + extent.cents) / 100.0 * BEND_CENTRE / (BEND_CENTRE - 1)
        ranges.append(max(least, ceil(extent.range_semitones - 1e-9), ceil(reach - 1e-9)))
    return ranges


def _place(
    score: Score,
    timeline: Timeline,
    instruments: tuple[Instrument, ...],
    of_note: IntArray,
    tuned: tuple[int, ...],
    wanted: Wanted,
    rested: IntArray,
    active: np.ndarray,
    options: Options,
) -> tuple[dict[int, list[Lane]], Placement]:
    lane_of = np.full(len(score.notes), -1, np.int64)
    start_value = np.zeros(len(score.notes), np.int64)
    shared: dict[int, tuple[tuple[int, int], ...]] = {}
    all_lanes: dict[int, list[Lane]] = {}
    for port in sorted({instruments[i].port for i in tuned}):
        mine = [instruments[i] for i in tuned if instruments[i].port == port]
        notes = np.nonzero(active & np.isin(of_note, [i.index for i in mine]))[0]
        lanes, pool = _channels(port, instruments, tuned, timeline)
        homes = {i.index: lanes[i.channel] for i in mine}
        demand = _demand(score, timeline, of_note, rested, notes)
        busy = _busy_ranks(timeline, instruments, homes, demand)
        allotted = quotas(demand, wanted, list(homes), len(pool))
        state = Lanes(homes=homes, pool=pool, quota=allotted, busy_ranks=busy)
        result = place_notes(demand, wanted, state, len(score.notes))
        lane_of[notes], start_value[notes] = result.lane[notes], result.start_value[notes]
        shared.update(result.shared)
        all_lanes[port] = lanes
    return all_lanes, Placement(lane=lane_of, start_value=start_value, shared=shared)


def _channels(
    port: int, instruments: tuple[Instrument, ...], tuned: tuple[int, ...], timeline: Timeline
) -> tuple[list[Lane], list[Lane]]:
    """All channels of a port, and those free for anybody: unused ones first, then those without notes."""
    lanes = [Lane(number=channel) for channel in range(CHANNELS_PER_PORT)]
    taken = {PERCUSSION_CHANNEL}
    quiet = []
    deadly = {
        (e.port, e.channel)
        for e in timeline.others
        if e.channel >= 0 and e.message.type == "control_change" and e.message.control in _KILLS
    }
    for instrument in instruments:
        if instrument.port != port:
            continue
        lanes[instrument.channel].home = instrument.index
        taken.add(instrument.channel)
        if not instrument.parts and (port, instrument.channel) not in deadly:
            quiet.append(lanes[instrument.channel])
    free = [lane for lane in lanes if lane.number not in taken]
    return lanes, free + [lane for lane in quiet if lane.number != PERCUSSION_CHANNEL]


def _demand(score: Score, timeline: Timeline, of_note: IntArray, rested: IntArray, notes: IntArray) -> Demand:
    table = score.notes[notes]
    return Demand(
        note=notes.tolist(),
        instrument=of_note[notes].tolist(),
        slot=[0] * len(notes),
        key=table["key"].tolist(),
        on=timeline.on[notes].tolist(),
        off=timeline.off[notes].tolist(),
        end=timeline.end[notes].tolist(),
        on_tick=table["onset_tick"].tolist(),
        end_tick=table["sounding_end_tick"].tolist(),
        rested=rested[notes].tolist(),
    )


def _busy_ranks(
    timeline: Timeline, instruments: tuple[Instrument, ...], homes: dict[int, Lane], demand: Demand
) -> dict[int, list[int]]:
    """Ranks of all events on each instrument's own channel, sorted."""
    of_channel = {(instruments[i].port, instruments[i].channel): i for i in homes}
    ranks: dict[int, list[int]] = {i: [] for i in homes}
    for event in timeline.others:
        index = of_channel.get((event.port, event.channel))
        if index is not None:
            ranks[index].append(event.rank)
    for index, on in zip(demand.instrument, demand.on, strict=True):
        ranks[index].append(on)
    return {index: sorted(own) for index, own in ranks.items()}


def move_notes(score: Score, plan: BendPlan, tracks: list[TrackRewrite]) -> None:
    """Put notes on their channels: note-offs go where their note-ons went."""
    home = np.array([i.channel for i in plan.instruments] or [0])[plan.of_note]
    away = np.nonzero((plan.placement.lane >= 0) & (plan.placement.lane != home))[0]
    table = score.notes[away]
    rows = zip(
        table["track"].tolist(),
        table["on_event"].tolist(),
        table["off_event"].tolist(),
        plan.placement.lane[away].tolist(),
        strict=True,
    )
    for track, on, off, channel in rows:
        messages = tracks[track].messages
        messages[on] = moved(messages[on], channel)
        if off >= 0:
            messages[off] = moved(messages[off], channel)


def conduct(score: Score, plan: BendPlan, tracks: list[TrackRewrite]) -> None:
    """Write set-up, bends and copies of the input's channel messages."""
    for port, lanes in plan.lanes.items():
        lines = [Line(number=lane.number, channel=lane.number % CHANNELS_PER_PORT) for lane in lanes]
        voices = _voices(port, plan, lines)
        conductor = Conductor(tracks=tracks, voices={(port, c): v for c, v in voices.items()}, lines=lines)
        mine = {plan.instruments[i].index: v for c, v in voices.items() for i in [v.instrument.index]}
        events = [e for e in plan.timeline.others if e.port == port]
        _portamento(plan, events, conductor, mine)
        _play(score, plan, conductor, mine, events, _setups(score, plan, events, mine, lanes, lines))


def _voices(port: int, plan: BendPlan, lines: list[Line]) -> dict[int, Voice]:
    voices = {}
    for instrument in plan.instruments:
        tuned = instrument.index in plan.tuned
        if instrument.port != port or (instrument.parts and not tuned):
            continue
        line = lines[instrument.channel]
        voice = Voice(
            instrument=instrument, home=line, range_semitones=plan.ranges[instrument.index] if tuned else 0
        )
        line.owner = line.guest_of = voice
        voice.lines.append(line)
        voices[instrument.channel] = voice
    return voices


def _portamento(
    plan: BendPlan, events: list[OtherEvent], conductor: Conductor, voices: dict[int, Voice]
) -> None:
    """Where the next note of each instrument goes, for those that use portamento control."""
    for index, voice in voices.items():
        channel = voice.instrument.channel
        if any(
            e.channel == channel
            and e.message.type == "control_change"
            and e.message.control == CC_PORTAMENTO_FROM
            for e in events
        ):
            notes = np.nonzero((plan.of_note == index) & (plan.placement.lane >= 0))[0]
            conductor.next_line[index] = (
                plan.timeline.on[notes].tolist(),
                plan.placement.lane[notes].tolist(),
            )


def _setups(
    score: Score,
    plan: BendPlan,
    events: list[OtherEvent],
    voices: dict[int, Voice],
    lanes: list[Lane],
    lines: list[Line],
) -> Iterator[tuple[int, Voice, list[Line], Place]]:
    """Where channels can be set up ahead of the music: behind the instrument's own set-up.

    Not on a tick with a device reset, which needs time before it takes set-up (GM2 4.9.1); those channels are
    set up with their first note, like those of an instrument whose first event is a note.
    """
    resets = {e.tick for e in events if e.channel < 0}
    first_note: dict[int, int] = {}
    for note in np.nonzero(plan.placement.lane >= 0)[0][::-1].tolist():
        first_note[int(plan.of_note[note])] = note
    first_events: dict[int, list[OtherEvent]] = {}
    for event in events:
        first_events.setdefault(event.channel, []).append(event)
    for index, voice in voices.items():
        own = first_events.get(voice.instrument.channel, [])
        if index not in first_note or not own:
            continue
        tick = own[0].tick
        if tick >= int(score.notes["onset_tick"][first_note[index]]) or tick in resets:
            continue
        last = [e for e in own if e.tick == tick][-1]
        ready = [lines[a.number] for a in lanes if a.users[:1] == [index] and a.home in (-1, index)]
        yield last.rank + 1, voice, ready, Place(tick, last.track, last.index + 1)


def _play(
    score: Score,
    plan: BendPlan,
    conductor: Conductor,
    voices: dict[int, Voice],
    events: list[OtherEvent],
    setups: Iterator[tuple[int, Voice, list[Line], Place]],
) -> None:
    """Everything in playing order."""
    timeline, wanted, placement = plan.timeline, plan.wanted, plan.placement
    notes = np.nonzero((placement.lane >= 0) & np.isin(plan.of_note, list(voices)))[0]
    moves = _moves(score, plan, notes)
    table = score.notes[notes]
    starts = zip(
        (timeline.on[notes] - 1).tolist(),
        notes.tolist(),
        table["onset_tick"].tolist(),
        table["track"].tolist(),
        table["on_event"].tolist(),
        placement.start_value[notes].tolist(),
        strict=True,
    )
    others = [(e.rank, -1, e.tick, e) for e in events]
    ready = [(s[0], -2, s[3].tick, s) for s in setups]
    todo = sorted([*moves, *starts, *others, *ready], key=itemgetter(0, 2))
    lane, of_note = placement.lane.tolist(), plan.of_note.tolist()
    ends, rested = score.notes["sounding_end_tick"].tolist(), plan.rested.tolist()
    keys = score.notes["key"].tolist()
    follows = any(e.channel >= 0 and e.message.type == "polytouch" for e in events)
    del wanted
    for item in todo:
        note = item[1]
        if note == -1:
            conductor.pass_on(item[3])
            continue
        if note == -2:
            conductor.prepare(*item[3][1:])
            continue
        tick, track, position, value = item[2:]
        line, voice = conductor.lines[lane[note]], voices[of_note[note]]
        if (
            line.bend != BEND_CENTRE + value
            or line.stale
            or line.owner is not voice
            or voice.bend.value
            or line.bend_sent[0] == tick
        ):
            conductor.tune(line, voice, value, Place(tick, track, position))
        line.sounding_until = max(line.sounding_until, ends[note])
        line.ringing_until = max(line.ringing_until, rested[note])
        if follows:
            conductor.remember_key(voice, keys[note], ends[note], line)


def _moves(score: Score, plan: BendPlan, notes: IntArray) -> list[tuple[int, ...]]:
    """Moves of sounding notes: (rank, note, tick, track, position, value)."""
    wanted = plan.wanted
    low, high = wanted.first[notes] + 1, wanted.first[notes + 1]
    several = np.nonzero(high > low)[0]
    several = (
        several[[int(n) not in plan.placement.shared for n in notes[several]]] if len(several) else several
    )
    if not len(several):
        return []
    rows = np.concatenate([np.arange(a, b) for a, b in zip(low[several], high[several], strict=True)])
    note = np.repeat(notes[several], (high - low)[several])
    track = score.notes["track"][note]
    rank, position = np.zeros(len(rows), np.int64), np.zeros(len(rows), np.int64)
    for t in np.unique(track).tolist():
        on = track == t
        position[on], rank[on] = plan.timeline.insertion_ranks(score, t, wanted.tick[rows[on]])
    columns = (rank, note, wanted.tick[rows], track, position, wanted.value[rows])
    return list(zip(*(c.tolist() for c in columns), strict=True))


def losses(score: Score, tuning: Tuning, plan: BendPlan) -> tuple[float, tuple[Remark, ...]]:
    """Largest difference between tuning and bends [cents], and a remark for each bar affected."""
    worst = plan.wanted.rounding_cents
    per_bar: dict[int, tuple[float, int, int]] = {}
    rows = tuning.offsets
    for note, course in plan.placement.shared.items():
        step = bend_step_cents(plan.ranges[int(plan.of_note[note])])
        low, high = np.searchsorted(rows["note"], [note, note + 1])
        error = course_error(course, rows[low:high], step)
        worst = max(worst, error)
        tick = int(score.notes["onset_tick"][note])
        bar = int(score.meters.bar_beat(tick)[0])
        most, count, first = per_bar.get(bar, (0.0, 0, tick))
        per_bar[bar] = (max(most, error), count + 1, min(first, tick))
    return worst, tuple(
        Remark(
            code="channels-full",
            message=f"more tunings sound at once than there are channels; {count} notes share the tuning "
            f"of others, up to {most:.2f} cents off",
            where=score.where(tick),
        )
        for _, (most, count, tick) in sorted(per_bar.items())
    )


def course_error(course: tuple[tuple[int, int], ...], rows: np.ndarray, step: float) -> float:
    """Largest difference between a course [steps] and the offsets wanted over the same time [cents]."""
    ticks = sorted({tick for tick, _ in course} | set(rows["start_tick"].tolist()))
    starts = np.array([tick for tick, _ in course])
    values = np.array([value for _, value in course])
    got = values[np.maximum(np.searchsorted(starts, ticks, side="right") - 1, 0)] * step
    want = rows["offset_cents"][np.maximum(np.searchsorted(rows["start_tick"], ticks, side="right") - 1, 0)]
    return float(np.abs(got - want).max())


def channels_used(score: Score, plan: BendPlan) -> int:
    """Number of channels (over all ports) that carry notes."""
    used = {(i.port, i.channel) for i in plan.instruments if i.parts and i.index not in plan.tuned}
    for i in plan.tuned:
        lanes = np.unique(plan.placement.lane[(plan.of_note == i) & (plan.placement.lane >= 0)])
        used |= {(plan.instruments[i].port, int(lane)) for lane in lanes}
    return len(used)


__all__ = ["FloatArray", "encode_bend", "plan_bends"]

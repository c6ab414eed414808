"""Tuning in a MIDI 2.0 clip file: the pitch is part of each note.

Before every pitched note come per-note management and pitch 7.25 (M2-104-UM v1.1.2, 7.4.15.2); the same message
moves a note that sounds. Pitch 7.25 rather than 7.9 in the note-on: a full receiver is exact to 0.000002 cents,
one that honours the recommended 9 fractional bits and rounds is within 0.098 cents, as with 7.9; and 7.9 cannot
move a sounding note. What channels bend is added by the receiver, so the input's own bends stay as they are.

A clip is one sequence: tracks are merged in playing order, ports become groups, keys and channels stay. A note
that a pedal holds while its key is struck again keeps the pitch that it has then.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from retune.constants import CHANNELS_PER_PORT, DEFAULT_METER, DEFAULT_TEMPO_US
from retune.encode import packets as build
from retune.encode.indices import Indices, assign_indices
from retune.encode.model import Encoded, EncodedFile
from retune.encode.packets import HIGHEST_PITCH, PITCH_STEPS, Packet
from retune.encode.timeline import Timeline, read_timeline
from retune.encode.translate import Translator
from retune.encode.wanted import Wanted, wanted_steps
from retune.errors import OptionError, Remark
from retune.options import Options
from retune.score.model import IntArray, Score
from retune.tuning.model import Tuning

STEP_CENTS = 100.0 / PITCH_STEPS
MOST_GROUPS = 16

Row = tuple[int, int, Packet]
"""Tick, rank within the tick, packet."""

RELEASE_VELOCITY = 64  # of a note-on with velocity 0, MIDI 1.0 A-1
_MOVES, _METER, _TEMPO = -1, -2, -3  # ranks before all events of a tick


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """What each note of a score becomes."""

    score: Score
    timeline: Timeline
    wanted: Wanted
    groups: dict[int, int]  # port -> group
    lanes: IntArray  # (n_notes,)
    indices: Indices


def encode_midi2(score: Score, tuning: Tuning, options: Options) -> Encoded:
    """Encode as one MIDI 2.0 clip. Raises `OptionError` where the score has more than 16 ports."""
    plan = _plan(score, tuning)
    translator = Translator(is_smpte=score.clock.smpte)
    rows = _led_by_tempo_and_meter([*_events(plan, translator), *_moves(plan)])
    rows.sort(key=lambda row: row[:2])
    per_quarter, factor = _resolution(score.clock.ticks_per_quarter)
    events = ((round(tick * factor), packet) for tick, _, packet in rows)
    data = build.clip_file(per_quarter, events, round(score.end_tick * factor))
    error, remarks = _losses(plan, tuning)
    return Encoded(
        files=(EncodedFile(data=data, extension=".midi2"),),
        channels_used=len(np.unique(plan.lanes)),
        worst_error_cents=error,
        remarks=(*remarks, *_out_of_reach(plan), *translator.remarks()),
    )


def _plan(score: Score, tuning: Tuning) -> _Plan:
    groups = _groups(score)
    of_part = np.array([groups[p.port] * CHANNELS_PER_PORT + p.channel for p in score.parts], np.int64)
    lanes = of_part[score.notes["part"]] if len(of_part) else np.zeros(0, np.int64)
    keys = score.notes["key"].astype(np.int64)
    reach = (-keys * PITCH_STEPS, HIGHEST_PITCH - keys * PITCH_STEPS)
    wanted = wanted_steps(tuning, len(keys), np.full(len(keys), STEP_CENTS), reach)
    timeline = read_timeline(score)
    return _Plan(
        score=score,
        timeline=timeline,
        wanted=wanted,
        groups=groups,
        lanes=lanes,
        indices=assign_indices(score, timeline, wanted, lanes, PITCH_STEPS // 2),
    )


def _groups(score: Score) -> dict[int, int]:
    """Group of each port: the same number where that is possible."""
    named = {m.port for track in score.tracks for m in track.messages if m.type == "midi_port"}
    ports = sorted({0} | named)
    if ports[-1] < MOST_GROUPS:
        return {port: port for port in ports}
    if len(ports) > MOST_GROUPS:
        raise OptionError(
            f"encoding midi2: the file uses {len(ports)} ports and a clip has {MOST_GROUPS} groups; "
            "use encoding bend"
        )
    return {port: group for group, port in enumerate(ports)}


def _resolution(ticks_per_quarter: float) -> tuple[int, float]:
    """Whole ticks per quarter that fit in 16 bits, and how many of them make a tick of the score."""
    if ticks_per_quarter <= build.MOST_TICKS_PER_QUARTER and ticks_per_quarter == int(ticks_per_quarter):
        return int(ticks_per_quarter), 1.0
    times = max(int(build.MOST_TICKS_PER_QUARTER / ticks_per_quarter), 1)
    even = next((k for k in range(1, times + 1) if ticks_per_quarter * k % 1 == 0), times)
    whole = min(round(ticks_per_quarter * even), build.MOST_TICKS_PER_QUARTER)
    return whole, whole / ticks_per_quarter


def _events(plan: _Plan, translator: Translator) -> Iterator[Row]:
    """Everything the tracks hold, in playing order; releases that end nothing are left out."""
    tracks, notes = plan.score.tracks, plan.score.notes
    of_track = notes["track"].tolist()
    on = {place: n for n, place in enumerate(zip(of_track, notes["on_event"].tolist(), strict=True))}
    off = {place: n for n, place in enumerate(zip(of_track, notes["off_event"].tolist(), strict=True))}
    ranks, ports = plan.timeline.rank.tolist(), [0] * len(tracks)
    places = [(t, i) for t, track in enumerate(tracks) for i in range(len(track.messages))]
    lanes, index = plan.lanes.tolist(), plan.indices.index
    for rank, tick, place in zip(
        range(0, 2 * len(places), 2),
        plan.timeline.sorted_ticks.tolist(),
        [places[k] for k in np.argsort(ranks).tolist()],
        strict=True,
    ):
        track, position = place
        message = tracks[track].messages[position]
        kind = message.type
        if kind == "midi_port":
            ports[track] = message.port
        elif kind not in ("note_on", "note_off"):
            group = plan.groups[ports[track]]
            for packet in translator.packets(message, group, is_first_track=track == 0):
                yield tick, rank, packet
        elif place in on:
            for packet in _note_on(plan, on[place], message.velocity):
                yield tick, rank, packet
        elif place in off:
            velocity = message.velocity if kind == "note_off" else RELEASE_VELOCITY
            yield tick, rank, build.note_off(lanes[off[place]], index[off[place]], velocity)


def _note_on(plan: _Plan, note: int, velocity: int) -> Iterator[Packet]:
    """A note-on, after what gives it its pitch; notes without offsets (percussion) get none."""
    lane, index = int(plan.lanes[note]), plan.indices.index[note]
    first, behind = plan.wanted.first[note : note + 2].tolist()
    if first < behind and not plan.indices.joins[note]:
        yield build.fresh_note(lane, index)
        pitch = int(plan.score.notes["key"][note]) * PITCH_STEPS + int(plan.wanted.value[first])
        yield build.note_pitch(lane, index, pitch)
    yield build.note_on(lane, index, velocity)


def _moves(plan: _Plan) -> Iterator[Row]:
    """Changes of notes that sound."""
    wanted, indices = plan.wanted, plan.indices
    lanes, keys, stop = plan.lanes.tolist(), plan.score.notes["key"].tolist(), indices.stop
    of_row = np.repeat(np.arange(len(keys)), np.diff(wanted.first))
    later = np.flatnonzero(np.diff(of_row, prepend=-1) == 0)
    notes, ticks = of_row[later].tolist(), wanted.tick[later].tolist()
    for row, note, tick in zip(later.tolist(), notes, ticks, strict=True):
        if tick <= stop[note]:
            pitch = keys[note] * PITCH_STEPS + int(wanted.value[row])
            yield tick, _MOVES, build.note_pitch(lanes[note], indices.index[note], pitch)


def _led_by_tempo_and_meter(rows: list[Row]) -> list[Row]:
    """Tempo and meter of the start go first, and are there even if the score names none (CLIP 7)."""
    for rank, is_one, default in (
        (_TEMPO, build.is_tempo, build.tempo(DEFAULT_TEMPO_US)),
        (_METER, build.is_meter, build.meter(*DEFAULT_METER, 8)),
    ):
        if any(tick == 0 and is_one(packet) for tick, _, packet in rows):
            rows = [(t, rank if t == 0 and is_one(packet) else r, packet) for t, r, packet in rows]
        else:
            rows.append((0, rank, default))
    return rows


def _losses(plan: _Plan, tuning: Tuning) -> tuple[float, tuple[Remark, ...]]:
    """Largest difference between tuning and messages [cents] while keys are down, and a remark on moves left out."""
    worst, rows, notes, count, where = plan.wanted.rounding_cents, tuning.offsets, plan.score.notes, 0, 0
    release = notes["release_tick"].tolist()
    for note, stop in enumerate(plan.indices.stop):
        if stop >= release[note]:
            continue
        low, high = np.searchsorted(rows["note"], [note, note + 1])
        own = rows[low:high]
        frozen = own["offset_cents"][np.searchsorted(own["start_tick"], stop, side="right") - 1]
        missed = own[(own["start_tick"] > stop) & (own["start_tick"] < release[note])]
        if len(missed):
            worst = max(worst, float(np.abs(missed["offset_cents"] - frozen).max()))
            where = where if count else int(missed["start_tick"][0])
            count += 1
    if not count:
        return worst, ()
    message = (
        f"{count} note{'s' * (count > 1)} cannot move while the same key of the channel sounds again, "
        f"up to {worst:.2f} cents off"
    )
    return worst, (Remark(code="key-taken", message=message, where=plan.score.where(where)),)


def _out_of_reach(plan: _Plan) -> tuple[Remark, ...]:
    """A remark if the lowest or highest keys are to sound beyond what pitch 7.25 has."""
    error = plan.wanted.rounding_cents
    if error <= STEP_CENTS:
        return ()
    message = (
        f"pitch ends with key 0 and above key 127: the outermost notes stop short by up to {error:.2f} cents"
    )
    return (Remark(code="out-of-reach", message=message),)

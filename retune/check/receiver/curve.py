"""From the timelines of a receiver to the pitch of every note over time."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from retune.arrays import begins, ends
from retune.check.receiver.sounding import CURVE_DTYPE, BoolArray, FloatArray, IntArray, Table
from retune.check.receiver.state import Receiver
from retune.check.receiver.timeline import Spans, in_order
from retune.constants import BEND_CENTRE

SAME_CENTS = 1e-9  # pitches nearer than this are one pitch


def sounding_ends(receiver: Receiver, lanes: IntArray, on: IntArray, off: IntArray, last: int) -> IntArray:
    """Place where each note stops sounding: its note-off, or the later lift of a pedal that holds it.

    In mono mode the next note-on of the channel ends it at once.
    """
    end = _ends_under_pedals(receiver, lanes, on, off, last)
    if not receiver.mono.changes:
        return end
    order = np.lexsort((on, lanes))
    older, newer = order[:-1], order[1:]
    silenced = (lanes[older] == lanes[newer]) & (receiver.mono.at(lanes[newer], on[newer]) > 0)
    end = end.copy()
    end[older[silenced]] = np.minimum(end[older[silenced]], on[newer[silenced]])
    return end


def _ends_under_pedals(
    receiver: Receiver, lanes: IntArray, on: IntArray, off: IntArray, last: int
) -> IntArray:
    """Place where each note stops sounding in poly mode.

    CC64 holds what is released while it is down; CC66 only what was down when it went down (GM2 3.3.9);
    All Sound Off ends both, and what sounds under a key that is down.
    `last` is the place of the end of the file, for pedals that are never lifted.
    """
    if not (receiver.sustain.changes or receiver.sostenuto.changes or receiver.sound_off.changes):
        return off
    end = off.copy()
    for _ in range(8):  # each pedal may take over from the other a few times
        held = receiver.sustain.at(lanes, end) > 0
        lift = receiver.sustain.next_below(lanes, end, 0.5)
        longer = np.where(held, np.where(lift < 0, last, lift), end)
        longer = np.maximum(longer, _caught(receiver, lanes, on, off, longer, last))
        if (longer == end).all():
            break
        end = longer
    cut = receiver.sound_off.next_below(lanes, on, 0.5)
    return np.where((cut >= 0) & (cut < end), cut, end)


def _caught(
    receiver: Receiver, lanes: IntArray, on: IntArray, off: IntArray, end: IntArray, last: int
) -> IntArray:
    """End of the notes that a middle pedal holds, which went down while their key was down."""
    if not receiver.sostenuto.changes:
        return end
    rows, presses = receiver.sostenuto.between(lanes, on, off)
    down = receiver.sostenuto.at(lanes[rows], presses) > 0
    rows, presses = rows[down], presses[down]
    lifts = receiver.sostenuto.next_below(lanes[rows], presses, 0.5)
    result = end.copy()
    ends = np.where(lifts < 0, last, lifts)
    holds = ends > off[rows]
    np.maximum.at(result, rows[holds], ends[holds])
    return result


class PitchOfNotes(Protocol):
    """Pitch given to single notes, beside what their channel does."""

    def breaks(self) -> list[tuple[IntArray, IntArray]]:
        """(note, place) of every change."""

    def cents(self, notes: IntArray, places: IntArray, from_tables: FloatArray) -> FloatArray:
        """Cents from each note's key, given what tuning tables say."""


def pitch_curve(
    receiver: Receiver, spans: Spans, ticks_of_place: IntArray, of_notes: PitchOfNotes | None = None
) -> Table:
    """CURVE_DTYPE rows of all notes."""
    if of_notes is None and not receiver.moves_pitch:
        return _steady(spans, ticks_of_place)
    notes, places = _breaks(receiver, spans, of_notes)
    cents = _channel_cents(receiver, spans, notes, places)
    tables = _table_cents(receiver, spans, notes, places)
    cents += tables if of_notes is None else of_notes.cents(notes, places, tables)
    rows = np.zeros(len(notes), dtype=CURVE_DTYPE)
    rows["note"], rows["cents"] = notes, cents
    rows["start_tick"] = ticks_of_place[places]
    last = ends(notes)
    rows["end_tick"][:-1] = rows["start_tick"][1:]
    rows["end_tick"][last] = spans.end_ticks[notes[last]]
    return merged_rows(rows)


def _steady(spans: Spans, ticks_of_place: IntArray) -> Table:
    """Rows of notes that all keep the pitch of their key."""
    rows = np.zeros(len(spans.lanes), dtype=CURVE_DTYPE)
    rows["note"], rows["start_tick"], rows["end_tick"] = (
        np.arange(len(rows)),
        ticks_of_place[spans.on],
        spans.end_ticks,
    )
    return rows


def merged_rows(rows: Table) -> Table:
    """Without rows of no length (the later of two at one tick stands) and with equal neighbours joined."""
    lasting = rows["end_tick"] > rows["start_tick"]
    if not lasting.all():
        rows = rows[lasting | (ends(rows["note"]) & _no_length(rows))]
    new = begins(rows["note"])
    new[1:] |= np.abs(rows["cents"][1:] - rows["cents"][:-1]) > SAME_CENTS
    starts = np.flatnonzero(new)
    result = rows[starts]
    result["end_tick"][:-1] = rows["end_tick"][starts[1:] - 1]
    result["end_tick"][-1:] = rows["end_tick"][-1:]
    return result


def _no_length(rows: Table) -> BoolArray:
    """True on all rows of notes that have no length at all."""
    first = begins(rows["note"])
    per_note = rows["end_tick"][ends(rows["note"])] == rows["start_tick"][first]
    result: BoolArray = per_note[np.cumsum(first) - 1]
    return result


def _breaks(receiver: Receiver, spans: Spans, of_notes: PitchOfNotes | None) -> tuple[IntArray, IntArray]:
    """(note, place) wherever a pitch begins or may change, in order."""
    lanes, on, end = spans.lanes, spans.on, spans.end
    own = (receiver.bend, receiver.range, receiver.tuning, receiver.manager)
    found = [(np.arange(len(lanes)), on), *(timeline.between(lanes, on, end) for timeline in own)]
    managers = spans.managers
    if receiver.manager.changes:
        members = np.flatnonzero(managers >= 0)
        for timeline in (receiver.bend, receiver.range):
            rows, places = timeline.between(managers[members], on[members], end[members])
            found.append((members[rows], places))
    if receiver.tables.used:
        tuned = np.flatnonzero(~spans.percussion)
        rows, places = receiver.tables.breaks(lanes[tuned], spans.keys[tuned], on[tuned], end[tuned])
        found.append((tuned[rows], places))
    if of_notes is not None:
        found.extend(of_notes.breaks())
    return in_order(found)


def _channel_cents(receiver: Receiver, spans: Spans, notes: IntArray, places: IntArray) -> FloatArray:
    """What the channel does to each note at each place: bend · range + tunings + the bend of the manager.

    A member's own controls stop acting on a note at its note-off, the manager's go on (MPE 2.2.6, A.4.1).
    """
    lanes, own = spans.lanes[notes], places
    if receiver.manager.changes:
        managers = spans.managers[notes]
        member = managers >= 0
        own = np.where(member, np.minimum(places, spans.off[notes]), places)
    cents = receiver.bend.at(lanes, own) * receiver.range.at(lanes, own) / BEND_CENTRE
    cents += receiver.tuning.at(lanes, own)
    if receiver.manager.changes:
        manager, at = managers[member], places[member]
        cents[member] += receiver.bend.at(manager, at) * receiver.range.at(manager, at) / BEND_CENTRE
    return cents


def _table_cents(receiver: Receiver, spans: Spans, notes: IntArray, places: IntArray) -> FloatArray:
    """What tuning tables do to each note at each place; they leave percussion alone (GM2 4.7)."""
    cents = np.zeros(len(notes))
    if receiver.tables.used:
        tuned = ~spans.percussion[notes]
        lanes, keys = spans.lanes[notes][tuned], spans.keys[notes][tuned]
        cents[tuned] = receiver.tables.cents(lanes, keys, places[tuned], spans.on[notes][tuned])
    return cents

"""What notes sound with besides their pitch: program, what is in force at the note-on, whether they are drums.

Page numbers and sections: MIDI Polyphonic Expression M1-100-UM v1.1 (MPE), General MIDI 1 (RP-003).
"""

from __future__ import annotations

import numpy as np

from retune.check.receiver.sounding import BoolArray, FloatArray, IntArray, Table
from retune.check.receiver.state import BY_CHANNEL, RHYTHM, UNTOLD, Receiver
from retune.check.receiver.timeline import Spans
from retune.constants import CC_EXPRESSION, CC_PAN, CC_VOLUME, CHANNELS_PER_PORT, PERCUSSION_CHANNEL


def fill_in(notes: Table, receiver: Receiver, spans: Spans) -> None:
    """Fill in the HEARD_DTYPE columns of the channels, and of what is in force at the note-ons."""
    lanes, places = spans.lanes, spans.on
    notes["channel"], notes["port"] = lanes % CHANNELS_PER_PORT, lanes // CHANNELS_PER_PORT
    programs = receiver.program.at(_chooser(receiver, lanes, spans.managers, places), places)
    notes["program"] = np.maximum(programs, 0.0)
    for name, number in (("volume", CC_VOLUME), ("pan", CC_PAN), ("expression", CC_EXPRESSION)):
        notes[name] = _setting(receiver, number, spans)
    notes["sustain"] = receiver.sustain.at(lanes, places) > 0
    notes["percussion"] = spans.percussion
    if receiver.manager.changes:
        notes["member"] = spans.managers >= 0
        other_range = receiver.range.at(lanes, places) != receiver.plain_range.at(lanes, places)
        notes["zone_range"] = notes["member"] & other_range & (receiver.bend.at(lanes, places) != 0)


def percussion(receiver: Receiver, lanes: IntArray, on: IntArray, ticks: IntArray) -> BoolArray:
    """Channel 10 outside an MPE zone (GM1 p. 2), and what banks and messages make of any channel.

    A zone has the program of its manager, and so its bank, if the manager has been told one. Of bank and message
    the bank counts. What makes a channel a drum kit counts for all notes of its tick; `ticks` are those of all places.
    """
    tenth: BoolArray = lanes % CHANNELS_PER_PORT == PERCUSSION_CHANNEL
    if not any(told.changes for told in (receiver.manager, receiver.kit, receiver.rhythm)):
        return tenth
    places = ticks.searchsorted(ticks[on], side="right") - 1
    managers = receiver.managers(lanes, places)
    tenth &= managers < 0
    told = receiver.kit.at(_chooser(receiver, lanes, managers, places), places)
    told = np.where(told == BY_CHANNEL, receiver.rhythm.at(lanes, places), told)
    return np.where(told == BY_CHANNEL, tenth, told == RHYTHM)


def _chooser(receiver: Receiver, lanes: IntArray, managers: IntArray, places: IntArray) -> IntArray:
    """The lane whose programs count: the manager's, if it has been told one (MPE 2.3.3), else the own."""
    if not receiver.manager.changes:
        return lanes
    of_zone = (managers >= 0) & (receiver.program.at(np.maximum(managers, 0), places) != UNTOLD)
    return np.where(of_zone, managers, lanes)


def _setting(receiver: Receiver, number: int, spans: Spans) -> FloatArray:
    """Value of a controller at the note-ons; in a zone the manager's or the member's own, the later one."""
    timeline = receiver.in_force.timeline(number)
    values = timeline.at(spans.lanes, spans.on)
    if timeline.changes and receiver.manager.changes:
        members = np.flatnonzero(spans.managers >= 0)
        own, manager, at = spans.lanes[members], spans.managers[members], spans.on[members]
        of_zone = timeline.latest(manager, at) > timeline.latest(own, at)
        values[members[of_zone]] = timeline.at(manager, at)[of_zone]
    return values

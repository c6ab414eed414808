"""Parameters of channels that are to share one: each set as an unbroken group, so that no selection meets another's."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

import mido

from retune.constants import DATA_CONTROLLERS, SELECTING_CONTROLLERS
from retune.encode import messages as build
from retune.encode.plain.edit import Event, edited
from retune.encode.plain.relabel import Address
from retune.encode.survey.instruments import BendState
from retune.encode.survey.timeline import read_timeline
from retune.score.model import Score


def with_whole_groups(score: Score, where: Mapping[Address, Address]) -> Score:
    """The score with the parameters of all addresses that go to a place in common set in unbroken groups."""
    common = {place for place, count in Counter(where.values()).items() if count > 1}
    sharing = {address for address, place in where.items() if place in common}
    if not sharing:
        return score
    states: dict[Address, BendState] = {}
    changes: dict[Event, list[mido.Message]] = {}
    for event in read_timeline(score).others:
        message, address = event.message, (event.port, event.channel)
        if address not in sharing or message.type != "control_change":
            continue
        state = states.setdefault(address, BendState())
        if message.control in DATA_CONTROLLERS and build.is_chosen(state.selection):
            kind, number = state.selection
            data = ((message.control, message.value),)
            changes[event.track, event.index] = build.set_parameter(event.channel, number, data, kind=kind)
        state.control(message.control, message.value)
        if message.control in SELECTING_CONTROLLERS:
            changes[event.track, event.index] = []
    return edited(score, changes)

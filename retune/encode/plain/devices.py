"""What is said to a device as a whole, said to those on further ports, too."""

from __future__ import annotations

from collections.abc import Mapping

import mido

from retune.encode import messages as build
from retune.encode.plain.edit import Event, edited
from retune.encode.plain.relabel import Address
from retune.score.model import Score


def told_to_all(score: Score, where: Mapping[Address, Address]) -> Score:
    """The score with resets and device controls repeated on the ports to which addresses of their port have moved.

    `where` is as for `relabel`, which has been done.
    """
    siblings: dict[int, set[int]] = {}
    for (port, _), (to, _) in where.items():
        if to != port:
            siblings.setdefault(port, {port}).add(to)
    if not siblings:
        return score
    ports_of = {port: group for group in siblings.values() for port in group}
    changes: dict[Event, list[mido.Message]] = {}
    for number, track in enumerate(score.tracks):
        port = 0
        for index, message in enumerate(track.messages):
            if message.type == "midi_port":
                port = message.port
            elif message.type == "sysex" and (build.is_reset(message) or build.is_device_control(message)):
                others = sorted(ports_of.get(port, {port}) - {port})
                repeated = [m for p in others for m in (mido.MetaMessage("midi_port", port=p), message)]
                here = [mido.MetaMessage("midi_port", port=port)] if others else []
                changes[number, index] = [*repeated, *here, message]
    return edited(score, changes)

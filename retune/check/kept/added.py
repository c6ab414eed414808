"""Events of a retuned file that its original has not.

A channel that joins a part has to be brought up to date first, so programs, controllers and parameters may be
sent again with the value in force.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Literal

import numpy as np

from retune.arrays import distinct
from retune.check.matching import unequal
from retune.check.receiver.sounding import (
    CHANNEL_PRESSURE,
    CONTROL,
    KEY_PRESSURE,
    PARAMETER,
    PROGRAM,
    BoolArray,
    IntArray,
    Table,
)
from retune.check.receiver.stored import SYSEX, Content, Row, Stored
from retune.constants import BANK_CONTROLLERS, CONTROLLER_STARTS, FIRST_MODE_MESSAGE

_SIDES: tuple[Literal["left", "right"], ...] = ("left", "right")


def added_events(before: Table, unknown: Table) -> Table:
    """Those of the unknown EVENT_DTYPE rows that set a value no channel of the original has in force then."""
    if not len(unknown):
        return unknown
    excused = np.zeros(len(unknown), dtype=bool)
    what_before, what = _what(before), _what(unknown)
    for code in distinct(what).tolist():
        rows, known = np.flatnonzero(what == code), before[what_before == code]
        if code >> 32 == CHANNEL_PRESSURE:  # a zone of MPE says key pressure so
            known = before[np.isin(before["kind"], (CHANNEL_PRESSURE, KEY_PRESSURE))]
        excused[rows] = _in_force(known, unknown[rows])
    return unknown[~excused]


def _what(events: Table) -> IntArray:
    """Kind and number of each event as one number."""
    result: IntArray = events["kind"].astype(np.int64) << 32 | events["number"]
    return result


def _in_force(known: Table, asked: Table) -> BoolArray:
    """Whether a value is the one at the start, or in force on a channel of the original; all of one number."""
    kind, number = int(asked["kind"][0]), int(asked["number"][0])
    if kind == CONTROL and number >= FIRST_MODE_MESSAGE:
        return np.zeros(len(asked), dtype=bool)
    if kind == PARAMETER:  # entered in steps of one byte or less, so only an unknown number tells
        return np.full(len(asked), len(known) > 0)
    values = asked["value"]
    excused: BoolArray = values == (CONTROLLER_STARTS.get(number, 0) if kind == CONTROL else 0)
    if kind == PROGRAM or (
        kind == CONTROL and number in BANK_CONTROLLERS
    ):  # together: a bank waits for its program
        first: dict[int, int] = {}  # tick of each value
        for tick, value in known[["tick", "value"]].tolist():
            first.setdefault(value, tick)
        told = asked[["tick", "value"]].tolist()
        excused |= np.array([first.get(value, tick + 1) <= tick for tick, value in told])
        return excused
    if kind == CHANNEL_PRESSURE:  # of a note that moves to another channel: one it has had
        excused |= ~unequal([values], [known["value"]])[0]
        return excused
    channels = known["track"].astype(np.int64) << 4 | known["channel"]
    for channel in distinct(channels).tolist():
        own = known[channels == channel]  # in order of ticks
        for side in _SIDES:  # before and after what the channel sends at the tick itself
            k = np.searchsorted(own["tick"], asked["tick"], side=side) - 1
            excused |= (k >= 0) & (own["value"][k] == values)
    return excused


def unaccounted(added: Stored, before: Stored, implied: Collection[Row]) -> Stored:
    """Those of the added meta and sysex events that are no master tuning and not what the original implies.

    A device on a further port needs the sysex messages of the first, at the same tick. Contents are numbered alike.
    """
    is_sysex = np.array([content[0] == SYSEX for content in before.contents], bool)[before.which]
    sent = before.taken(is_sysex)
    kept = unequal([added.ticks, added.which], [sent.ticks, sent.which])[0]
    kept &= ~np.array([_is_master_tuning(content) for content in added.contents], bool)[added.which]
    rows = np.flatnonzero(kept)
    return added.taken(
        rows[[row not in implied for row in added.taken(rows).rows()]] if implied and len(rows) else rows
    )


def _is_master_tuning(content: Content) -> bool:
    """Master fine or coarse tuning (CA-025)."""
    data = content[1] if content[0] == SYSEX else b""
    return isinstance(data, bytes) and data[:1] == b"\x7f" and data[2:4] in (b"\x04\x03", b"\x04\x04")

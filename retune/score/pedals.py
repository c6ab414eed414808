"""How long notes sound: the sustain and sostenuto pedals and the messages that silence a channel.

A pedal belongs to a channel of a port, whichever track holds its events (MIDI 1.0 p. 20). Releases under a
pedal are remembered until it lifts (A-5). Sostenuto holds only the notes whose keys are down when it is pressed.
Reset All Controllers lifts both (RP-015). All Sound Off ends what the pedals hold, and what it silences while its key
is down they hold no more: such a note lasts to its release, because its key on its channel is taken until then. All
Notes Off is a release that the pedals hold like any other (A-5), and receivers may ignore it (p. 24).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.arrays import distinct
from retune.constants import (
    CC_ALL_SOUND_OFF,
    CC_RESET_ALL_CONTROLLERS,
    CC_SOSTENUTO,
    CC_SUSTAIN,
    PEDAL_DOWN,
)
from retune.score.model import IntArray

_AFTER_ALL = np.iinfo(np.int64).max  # rank of the end of the file

Moment = tuple[IntArray, IntArray]
"""Rank in the order of performance, and tick."""


def sounding_ends(
    *,
    on: NDArray[np.void],
    on_rank: IntArray,
    release: IntArray,
    release_rank: IntArray,
    controls: NDArray[np.void],
    control_rank: IntArray,
    end_tick: int,
) -> IntArray:
    """Sounding end ticks of the notes.

    `on` are the note-on events (EVENT_DTYPE), `release` the ticks of the releases; ranks are places in the order
    of performance over all note and controller events.
    """
    sounding = release.copy()
    note_channel = on["port"] << 4 | on["channel"]
    control_channel = controls["port"] << 4 | controls["channel"]
    controls_by_channel = np.lexsort((control_rank, control_channel))
    notes_by_channel = np.argsort(note_channel, kind="stable")
    for channel in distinct(control_channel):
        mine = _of(channel, control_channel, controls_by_channel)
        notes = _of(channel, note_channel, notes_by_channel)
        timeline = _Timeline(controls[mine], control_rank[mine], end_tick)
        released = release_rank[notes], release[notes]
        sounding[notes] = timeline.sounding_end(on_rank[notes], released)[1]
    return sounding


def _of(channel: int, channels: IntArray, order: IntArray) -> IntArray:
    """Indices at which `channels`, which `order` sorts, is `channel`; in the order of `order`."""
    first, last = np.searchsorted(channels, (channel, channel + 1), sorter=order)
    return order[first:last]


class _Timeline:
    """The pedals of one channel over the whole file."""

    def __init__(self, controls: NDArray[np.void], ranks: IntArray, end_tick: int) -> None:
        number, value, ticks = controls["key"], controls["velocity"], controls["tick"]
        lifted = number == CC_RESET_ALL_CONTROLLERS
        self._sustain = _presses(number == CC_SUSTAIN, lifted, value, ranks, ticks, end_tick)
        self._sostenuto = _presses(number == CC_SOSTENUTO, lifted, value, ranks, ticks, end_tick)
        silence = number == CC_ALL_SOUND_OFF
        self._silence: Moment = ranks[silence], ticks[silence]

    def sounding_end(self, on_rank: IntArray, release: Moment) -> Moment:
        """Moments at which notes released at the given moments fall silent."""
        end = _held_until(self._sustain, release)
        held = _held_until(self._sostenuto, release)
        caught = (held[0] > end[0]) & (on_rank < _press_before(self._sostenuto, release[0]))
        end = _choose(caught, _held_until(self._sustain, held), end)
        silence = _next(self._silence, on_rank)
        cut = (silence[0] >= 0) & (silence[0] < end[0])
        return _choose(cut, _choose(silence[0] < release[0], release, silence), end)


class _Presses:
    """Stretches in which a pedal is down: ranks of press and lift, tick of the lift."""

    def __init__(self, down: IntArray, up: IntArray, up_tick: IntArray) -> None:
        self.down, self.up, self.up_tick = down, up, up_tick


def _presses(
    mine: NDArray[np.bool_],
    lifted: NDArray[np.bool_],
    value: IntArray,
    ranks: IntArray,
    ticks: IntArray,
    end_tick: int,
) -> _Presses:
    used = mine | lifted
    is_down = (mine & (value >= PEDAL_DOWN))[used]
    ranks, ticks = ranks[used], ticks[used]
    was_down = np.concatenate(([False], is_down[:-1])) if len(is_down) else is_down
    up = np.flatnonzero(~is_down & was_down)
    up_rank, up_tick = ranks[up], ticks[up]
    if len(is_down) and is_down[-1]:  # never lifted: it holds to the end of the file
        up_rank = np.append(up_rank, _AFTER_ALL)
        up_tick = np.append(up_tick, end_tick)
    return _Presses(ranks[is_down & ~was_down], up_rank, up_tick)


def _held_until(pedal: _Presses, moment: Moment) -> Moment:
    """Moment of the lift where the pedal is down at the given moment, else that moment itself."""
    rank, tick = moment
    if not len(pedal.down):
        return moment
    press = np.searchsorted(pedal.down, rank, side="right") - 1
    held = (press >= 0) & (rank < pedal.up[press])
    return np.where(held, pedal.up[press], rank), np.where(held, pedal.up_tick[press], tick)


def _press_before(pedal: _Presses, rank: IntArray) -> IntArray:
    """Rank of the last press before each rank, -1 where there is none."""
    return np.concatenate(([-1], pedal.down))[np.searchsorted(pedal.down, rank, side="right")]


def _next(moments: Moment, rank: IntArray) -> Moment:
    """First of the moments at or after each rank; (-1, -1) where there is none."""
    at = np.searchsorted(moments[0], rank, side="left")
    return np.append(moments[0], -1)[at], np.append(moments[1], -1)[at]


def _choose(which: NDArray[np.bool_], yes: Moment, no: Moment) -> Moment:
    return np.where(which, yes[0], no[0]), np.where(which, yes[1], no[1])

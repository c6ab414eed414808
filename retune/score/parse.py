"""Mended tracks to messages. The parser gets each different event once, however often it comes.

Music repeats its events: a note of a key, a channel and a velocity comes again and again, at other times. So the
events of all tracks are numbered by their bytes, delta times apart; the parser decodes each of them once, and the
tracks are put together from its messages. That takes a sixth of the time that the parser takes for the whole file,
and a piece of a hundred thousand notes holds some thousand message objects.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from functools import lru_cache
from itertools import count
from typing import NamedTuple

import mido
import numpy as np

from retune.constants import FIRST_SYSTEM_STATUS, META_STATUS
from retune.score.events import (
    DATA,
    LONG_VLQ,
    RUNNING_ONE,
    RUNNING_TWO,
    STATUS_OF_ONE,
    STATUS_OF_TWO,
    VLQ,
    vlq_value,
)
from retune.score.model import IntArray
from retune.score.repair import Repaired

_QUANTITY = re.compile(LONG_VLQ)  # delta times of events that were left out add up
_RUN = (
    re.compile(  # delta time, first event of two data bytes or of one, the events that go on with its status
        rb"(%b)(?:(%b)|(%b))((?(2)%b|%b))"
        % (LONG_VLQ, STATUS_OF_TWO + DATA + DATA, STATUS_OF_ONE + DATA, RUNNING_TWO, RUNNING_ONE)
    )
)
_RUNNING = re.compile(rb"(%b)(%b{2})" % (VLQ, DATA)), re.compile(rb"(%b)(%b)" % (VLQ, DATA))


class Parsed(NamedTuple):
    """The different events of a file, and its tracks as places where they stand, end-of-track event last."""

    messages: list[mido.Message]  # their `time` means nothing
    tracks: list[tuple[IntArray, IntArray]]  # absolute ticks, and which of the messages stands there


def parse(repaired: Repaired) -> Parsed:
    """The events of a file, stand-ins replaced by what they stand for."""
    numbers: defaultdict[bytes, int] = defaultdict(
        count().__next__
    )  # events by their bytes, numbered as they come
    value = _Quantities()
    split = [_split(stretches, numbers, value) for stretches in repaired.tracks]
    return Parsed(
        messages=_decode(list(numbers), repaired.asides),
        tracks=[
            (np.fromiter(deltas, np.int64, len(deltas)).cumsum(), np.fromiter(events, np.int64, len(events)))
            for deltas, events in split
        ],
    )


class _Quantities(dict[bytes, int]):
    """Values of variable-length quantities (SMF 1.1)."""

    def __missing__(self, groups: bytes) -> int:
        self[groups] = value = vlq_value(groups)
        return value


def _split(
    stretches: Sequence[bytes], numbers: defaultdict[bytes, int], value: _Quantities
) -> tuple[list[int], list[int]]:
    """Delta times and numbers of the events of a track."""
    deltas: list[int] = []
    events: list[int] = []
    for stretch in stretches:
        quantity = _QUANTITY.match(stretch)
        assert quantity is not None
        if stretch[quantity.end()] >= FIRST_SYSTEM_STATUS:
            deltas.append(value[quantity.group()])
            events.append(numbers[stretch[quantity.end() :]])
            continue
        for before, of_two, of_one, running in _RUN.findall(stretch):
            first = of_two or of_one
            deltas.append(value[before])
            events.append(numbers[first])
            if running:
                status = first[:1]
                for before, data in _RUNNING[not of_two].findall(running):
                    deltas.append(value[before])
                    events.append(numbers[status + data])
    return deltas, events


def _decode(events: Sequence[bytes], asides: Sequence[mido.Message]) -> list[mido.Message]:
    """A message for each event."""
    return [
        _channel_message(event) if event[0] < FIRST_SYSTEM_STATUS else _aside(_system_message(event), asides)
        for event in events
    ]


def _aside(message: mido.Message, asides: Sequence[mido.Message]) -> mido.Message:
    """What a message stands for, or itself."""
    if message.type == "sequencer_specific":
        return asides[int.from_bytes(bytes(message.data), "big")]
    return message


@lru_cache(maxsize=1 << 14)  # a few megabytes: a retuned file repeats its original, a folder of music itself
def _channel_message(event: bytes) -> mido.Message:
    return mido.Message.from_bytes(event)


@lru_cache(maxsize=1 << 9)  # the same; they may be long
def _system_message(event: bytes) -> mido.Message:
    """A meta or sysex event."""
    if event[0] == META_STATUS:
        return mido.MetaMessage.from_bytes(bytearray(event))
    length = _QUANTITY.match(event, 1)
    assert length is not None
    return mido.Message("sysex", data=event[length.end() :].removesuffix(b"\xf7"))

"""How long notes sound under pedals (MIDI 1.0 p. 20 and A-5; RP-015 for Reset All Controllers)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.score import read_score
from tests.score.build import smf

ON, OFF = "90 3C 40", "80 3C 40"
DOWN, UP = "B0 40 7F", "B0 40 00"
SOSTENUTO, LIFT = "B0 42 40", "B0 42 3F"


def at_times(*events: str) -> str:
    """Events 16 ticks apart, the first at 16."""
    return " ".join(f"10 {event}" for event in events)


CASES = {
    "no pedal": ((ON, OFF), 32),
    "pedal down before the release": ((ON, DOWN, OFF, UP), 64),
    "pedal down before the note": ((DOWN, ON, OFF, UP), 64),
    "pedal lifted before the release": ((DOWN, ON, UP, OFF), 64),
    "pedal down after the release": ((ON, OFF, DOWN, UP), 32),
    "half pedal: 63 is up, 64 is down (p. 20)": ((ON, "B0 40 3F", OFF, UP), 48),
    "pedal pressed again without a lift": ((ON, DOWN, OFF, "B0 40 50", UP), 80),
    "pedal never lifted: to the end of the file": ((ON, DOWN, OFF, "C0 05"), 64),
    "pedal of another channel": ((ON, "B1 40 7F", OFF, UP), 48),
    "Reset All Controllers lifts": ((ON, DOWN, OFF, "B0 79 00", UP), 64),
    "All Sound Off ends what the pedal holds": ((ON, DOWN, OFF, "B0 78 00", UP), 64),
    "All Notes Off is held by the pedal like a release (A-5)": ((ON, DOWN, OFF, "B0 7B 00", UP), 80),
    "All Notes Off in place of the release, under the pedal": ((ON, DOWN, "B0 7B 00", UP), 64),
    "All Sound Off in place of the release, under the pedal": ((ON, DOWN, "B0 78 00", UP), 48),
    "All Sound Off while the key is down: the note is over with its release": ((ON, "B0 78 00", OFF), 48),
    "All Sound Off while key and pedal are down": ((DOWN, ON, "B0 78 00", OFF, UP), 64),
    "All Sound Off while the key is down, under sostenuto": ((ON, SOSTENUTO, "B0 78 00", OFF, LIFT), 64),
    "All Sound Off before the note": (("B0 78 00", ON, OFF), 48),
    "sostenuto pressed while the key is down": ((ON, SOSTENUTO, OFF, LIFT), 64),
    "sostenuto pressed before the note": ((SOSTENUTO, ON, OFF, LIFT), 48),
    "sostenuto pressed after the release": ((ON, OFF, SOSTENUTO, LIFT), 32),
    "sostenuto lifted before the release": ((ON, SOSTENUTO, LIFT, OFF), 64),
    "sostenuto, then sustain before the lift": ((ON, SOSTENUTO, OFF, DOWN, LIFT, UP), 96),
    "sustain, then sostenuto after it": ((ON, SOSTENUTO, DOWN, OFF, UP, LIFT), 96),
    "sostenuto does not catch what only the sustain pedal holds": ((ON, DOWN, OFF, SOSTENUTO, UP, LIFT), 80),
}


@pytest.mark.parametrize(("events", "end"), CASES.values(), ids=CASES)
def test_sounding_end(events: tuple[str, ...], end: int) -> None:
    (note,) = read_score(smf(at_times(*events))).notes
    assert note["sounding_end_tick"] == end


def test_order_within_a_tick_counts() -> None:
    """Pedal down just before or just after a release of the same tick is a musical difference."""
    before = read_score(smf(f"10 {ON} 10 {DOWN} 00 {OFF} 10 {UP}")).notes
    after = read_score(smf(f"10 {ON} 10 {OFF} 00 {DOWN} 10 {UP}")).notes
    assert (before["sounding_end_tick"][0], after["sounding_end_tick"][0]) == (48, 32)


def test_pedal_in_another_track_of_the_channel() -> None:
    """Piano with one hand a track: the pedal is in the left hand's track and holds both."""
    data = smf(f"10 {ON} 10 {OFF}", f"10 90 30 40  08 {DOWN}  08 80 30 40  10 {UP}")
    assert read_score(data).notes["sounding_end_tick"].tolist() == [48, 48]


def test_tracks_play_in_their_order_within_a_tick() -> None:
    """The release in the first track comes before the pedal in the second."""
    data = smf(f"10 {ON} 10 {OFF}", f"20 {DOWN} 10 {UP}")
    assert read_score(data).notes["sounding_end_tick"].tolist() == [32]
    data = smf(f"20 {DOWN} 10 {UP}", f"00 C0 05 10 {ON} 10 {OFF}")
    assert read_score(data).notes["sounding_end_tick"].tolist() == [48]


def test_pedal_of_another_port() -> None:
    data = smf(f"00 FF 21 01 00  10 {ON} 10 {OFF}", f"00 FF 21 01 01  00 {DOWN}  7F {UP}")
    assert read_score(data).notes["sounding_end_tick"].tolist() == [32]


CONTROLS = {"sustain": (64, 127), "lift": (64, 0), "sostenuto": (66, 64), "free": (66, 63)} | {
    "reset": (121, 0),
    "silence": (120, 0),
    "release all": (123, 0),
}


class Receiver:
    """Plays event after event on one channel; `ends` holds when each note fell silent."""

    def __init__(self, released: set[int]) -> None:
        self.released = (
            released  # notes that have a release of their own, which All Notes Off does not replace
        )
        self.keys: dict[int, int] = {}  # key held down -> note
        self.caught: set[int] = set()
        self.ringing: set[int] = set()
        self.silenced: set[int] = set()  # while their keys were down: no pedal holds them then
        self.sustain = self.sostenuto = False
        self.ends: dict[int, int] = {}

    def release(self, key: int, tick: int) -> None:
        note = self.keys.pop(key)
        self.ends[note] = tick
        if (self.sustain or note in self.caught) and note not in self.silenced:
            self.ringing.add(note)

    def control(self, kind: str, tick: int) -> None:
        if kind in ("silence", "release all"):
            for key, note in list(self.keys.items()):
                if note not in self.released:
                    self.release(key, tick)
        if kind == "silence":
            self.ends |= dict.fromkeys(self.ringing, tick)
            self.ringing.clear()
            self.silenced |= set(self.keys.values())
        if kind == "sostenuto" and not self.sostenuto:
            self.caught |= set(self.keys.values())
        if kind in ("free", "reset"):
            self.caught.clear()
        self.sustain = kind == "sustain" or (self.sustain and kind not in ("lift", "reset"))
        self.sostenuto = kind == "sostenuto" or (self.sostenuto and kind not in ("free", "reset"))
        for note in [note for note in self.ringing if not self.sustain and note not in self.caught]:
            self.ringing.remove(note)
            self.ends[note] = tick


KEYS_AND_CONTROLS = st.one_of(st.integers(60, 63), st.sampled_from(sorted(CONTROLS)))


@settings(deadline=None)
@given(st.lists(st.tuples(st.sampled_from((0, 5)), KEYS_AND_CONTROLS), max_size=25))
def test_sounding_ends_are_those_of_a_receiver(events: list[tuple[int, int | str]]) -> None:
    """A key in the list goes down, or up if it is down."""
    track, down = bytearray(), set()
    for delta, event in events:
        if isinstance(event, str):
            track += bytes((delta, 0xB0, *CONTROLS[event]))
        else:
            track += bytes((delta, 0x80 if event in down else 0x90, event, 64))
            down ^= {event}
    found = read_score(smf(bytes(track))).notes
    receiver = Receiver(released_notes([event for _, event in events]))
    tick = 0
    down.clear()
    for index, (delta, event) in enumerate(events):
        tick += delta
        if isinstance(event, str):
            receiver.control(event, tick)
        elif event in down:
            if event in receiver.keys:
                receiver.release(event, tick)
        else:
            receiver.keys[event] = index
        down ^= {event} if isinstance(event, int) else set()
    left = [*receiver.keys.values(), *receiver.ringing]
    ends = receiver.ends | dict.fromkeys(left, tick)
    onsets = np.cumsum([delta for delta, _ in events])
    assert sorted(zip(found["onset_tick"], found["sounding_end_tick"], strict=True)) == sorted(
        (onsets[note], end) for note, end in ends.items()
    )


def released_notes(events: list[int | str]) -> set[int]:
    """Places in the list where a key goes down that comes up again later."""
    down: dict[int, int] = {}
    released = set()
    for index, event in enumerate(events):
        if isinstance(event, int):
            if event in down:
                released.add(down.pop(event))
            else:
                down[event] = index
    return released

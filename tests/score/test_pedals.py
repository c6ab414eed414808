"""How long notes sound under pedals (MIDI 1.0 p. 20 and A-5; RP-015 for Reset All Controllers)."""

from __future__ import annotations

import pytest
from hypothesis import given
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


def test_pedal_of_another_port() -> None:
    data = smf(f"00 FF 21 01 00  10 {ON} 10 {OFF}", f"00 FF 21 01 01  00 {DOWN}  7F {UP}")
    assert read_score(data).notes["sounding_end_tick"].tolist() == [32]


EVENTS = st.sampled_from((ON, OFF, DOWN, UP, SOSTENUTO, LIFT, "B0 79 00", "B0 78 00", "B0 7B 00"))


@given(st.lists(st.tuples(st.sampled_from((0, 5)), EVENTS), max_size=25))
def test_sounding_ends_are_those_of_a_receiver(events: list[tuple[int, str]]) -> None:
    """Against a receiver that plays event after event."""
    data = smf(" ".join(f"{delta:02X} {event}" for delta, event in events))
    found = read_score(data).notes
    end_tick = sum(delta for delta, _ in events)
    held: list[int] = []  # notes whose keys are down, oldest first
    caught: set[int] = set()
    ringing: set[int] = set()  # released, but held by a pedal
    ends: dict[int, int] = {}
    sustain = sostenuto = False
    closed = {int(row["on_event"]) for row in found if row["off_event"] >= 0}
    tick = 0

    def release(note: int) -> None:
        held.remove(note)
        ends[note] = tick
        if sustain or note in caught:
            ringing.add(note)

    for index, (delta, event) in enumerate(events):
        tick += delta
        if event == ON:
            held.append(index)
        elif event == OFF:
            if held:
                release(held[0])
        elif event == DOWN:
            sustain = True
        elif event == SOSTENUTO:
            if not sostenuto:
                caught |= set(held)
            sostenuto = True
        elif event == "B0 78 00":
            ends |= dict.fromkeys(ringing, tick)
            ringing.clear()
            for note in [note for note in held if note not in closed]:
                held.remove(note)
                ends[note] = tick
        elif event == "B0 7B 00":
            for note in [note for note in held if note not in closed]:
                release(note)
        if event in (UP, "B0 79 00"):
            sustain = False
        if event in (LIFT, "B0 79 00"):
            sostenuto = False
            caught.clear()
        for note in [note for note in ringing if not sustain and note not in caught]:
            ringing.remove(note)
            ends[note] = tick
    ends |= dict.fromkeys([*held, *ringing], end_tick)
    assert {int(row["on_event"]): int(row["sounding_end_tick"]) for row in found} == ends

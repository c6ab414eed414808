"""MPE zones: M1-100-UM v1.1 (MIDI Polyphonic Expression), section numbers beside the checks."""

from __future__ import annotations

import pytest

from retune.check import decode
from tests.check.build import smf, steps

LOWER_15 = "00 B0 65 00 00 64 06 00 06 0F"  # MPE 2.2.1
UPPER_5 = "00 BF 65 00 00 64 06 00 06 05"


def test_seven_semitones_and_a_manager_bend_of_two() -> None:
    """MPE C.4: +7 semitones at range 48 is 9387 = 2B 49, +2 at range 2 is 16383; C.6 reads back 7 + 2.

    The wheel's step at range 48 is 0.586 cents, so the sum comes back within half of that.
    """
    events = f"{LOWER_15} 00 E1 2B 49 00 E0 7F 7F 00 91 3C 40 60 81 3C 40"
    (row,) = steps(decode(smf(events)), 0)
    assert row[2] == pytest.approx(900.0, abs=0.293)


@pytest.mark.parametrize(
    ("channel", "range_cents"), [("E9", 200.0), ("EA", 4800.0), ("EE", 4800.0), ("EF", 200.0)]
)
def test_members_of_an_upper_zone(channel: str, range_cents: float) -> None:
    """Upper zone of five: members 11-15 at range 48, manager 16 at 2 (2.2.5); channel 10 stays plain."""
    note = f"9{channel[1]}"
    events = f"{UPPER_5} 00 {channel} 2B 41 00 {note} 3C 40 60 {note} 3C 00"
    (row,) = steps(decode(smf(events)), 0)
    assert row[2] == pytest.approx(171 * range_cents / 8192, abs=1e-3)  # 2B 41 is 171 steps up


def test_range_of_one_member_holds_for_all() -> None:
    """MPE 2.2.5: RPN 0 on any member applies to every member of the zone, not to the manager."""
    range_2 = "00 B3 65 00 00 64 00 00 06 02"
    events = f"{LOWER_15} {range_2} 00 E5 00 50 00 E0 00 50 00 95 3C 40 60 85 3C 40"
    (row,) = steps(decode(smf(events)), 0)
    assert row[2] == pytest.approx(50.0 + 50.0)


def test_member_bends_stop_at_the_note_off_and_manager_bends_go_on() -> None:
    """MPE 2.2.6, A.4.1."""
    pedal = "00 B0 40 7F"
    note = "00 91 3C 40 60 81 3C 40"
    later = "10 E1 00 60 10 E0 00 50 20 B0 40 00"
    sounding = decode(smf(f"{LOWER_15} {pedal} {note} {later}"))
    assert steps(sounding, 0) == [(0, 0x80, 0.0), (0x80, 0xA0, 50.0)]


def test_pedal_of_the_manager_holds_the_zone() -> None:
    """MPE 2.3.1: pedals go to the manager."""
    sounding = decode(smf(f"{LOWER_15} 00 B0 40 7F 00 92 3C 40 60 82 3C 40 20 B0 40 00"))
    assert sounding.notes["sounding_end_tick"].tolist() == [0x80]


def test_zone_switched_off() -> None:
    """An MCM of 0 members turns the zone off; its channels are plain again (2.2.1)."""
    events = f"{LOWER_15} 00 06 00 00 E1 00 50 00 91 3C 40 60 81 3C 40"
    assert steps(decode(smf(events)), 0)[0][2] == pytest.approx(50.0)


def test_later_zone_wins_an_overlap() -> None:
    """2.2.1: after Lower 15, Upper 5 takes members 11 to 15; Lower keeps channels 2 to 10."""
    bends = "00 E9 00 50 00 EA 00 50 00 E0 00 50"
    notes = "00 99 3C 40 00 9A 3C 40 60 89 3C 40 00 8A 3C 40"
    sounding = decode(smf(f"{LOWER_15} {UPPER_5} {bends} {notes}"))
    assert steps(sounding, 0)[0][2] == pytest.approx(1200.0 + 50.0)
    assert steps(sounding, 1)[0][2] == pytest.approx(1200.0)


def test_other_channels_cannot_configure() -> None:
    """2.2.1: an MCM on any channel but 1 and 16 is ignored."""
    events = "00 B3 65 00 00 64 06 00 06 05 00 E4 00 50 00 94 3C 40 60 84 3C 40"
    assert steps(decode(smf(events)), 0)[0][2] == pytest.approx(50.0)


def test_program_of_the_manager_and_channel_10() -> None:
    """2.3.3: the manager's program is the zone's; channel 10 is a member like any other."""
    sounding = decode(smf(f"{LOWER_15} 00 C0 13 00 99 3C 40 60 89 3C 40"))
    assert sounding.notes["program"].tolist() == [0x13]
    assert sounding.notes["percussion"].tolist() == [False]

"""Bends, registered parameters and resets against worked values of the published standards.

M1 is the MIDI 1.0 Detailed Specification 4.2.1 (1996), GM2 RP-024 v1.2a, CA-025 Master Tuning, RP-015 Response
to Reset All Controllers. Values marked [calc] follow from the formula beside them.
"""

from __future__ import annotations

import pytest

from retune.check import decode
from tests.check.build import cents_of, smf, steps

NOTE = "00 90 3C 40 60 80 3C 40"


@pytest.mark.parametrize(
    ("wheel", "cents"),
    [
        ("00 40", 0.0),  # M1 p. 19: centre
        ("00 00", -200.0),  # lowest: 8192 steps down
        ("7F 7F", 200.0 * 8191 / 8192),  # highest: 8191 steps up
        ("00 50", 50.0),
        ("4F 3B", -13.6963),  # pure 5/4, -13.6863, to the nearest step of 0.0244 [calc]
        ("50 40", 1.9531),  # pure 3/2, +1.9550
        ("01 45", 15.6494),  # pure 6/5, +15.6413
        ("03 36", -31.1768),  # 7/4, -31.1741
    ],
)
def test_wheel_at_the_default_range(wheel: str, cents: float) -> None:
    assert cents_of(f"00 E0 {wheel} {NOTE}") == pytest.approx(cents, abs=1e-4)


@pytest.mark.parametrize(
    ("semitones", "wheel", "error"),
    [("0C", "23 3F", 0.063), ("18", "51 3F", -0.083), ("30", "69 3F", 0.210)],
)
def test_pure_third_at_wider_ranges(semitones: str, wheel: str, error: float) -> None:
    """5/4 is 1200·log2(5/4) − 400 = −13.6863 cents; the step grows with the range (M1 p. 18)."""
    heard = cents_of(f"00 B0 65 00 00 64 00 00 06 {semitones} 00 E0 {wheel} {NOTE}")
    assert heard - -13.6863 == pytest.approx(error, abs=1e-3)


def test_range_with_data_lsb_counts_cents() -> None:
    """RPN 0: MSB semitones, LSB cents (M1 p. 18)."""
    assert cents_of(f"00 B0 65 00 00 64 00 00 06 02 00 26 32 00 E0 00 60 {NOTE}") == pytest.approx(125.0)


def test_data_msb_sets_the_lsb_to_zero() -> None:
    """M1 p. 12: after LSB 50, a new MSB starts from LSB 0."""
    selected = "00 B0 65 00 00 64 00"
    assert cents_of(f"{selected} 00 26 32 00 06 02 00 E0 00 60 {NOTE}") == pytest.approx(100.0)


def test_null_parameter_ignores_data_entry() -> None:
    """M1 p. 17: 7F 7F chooses none."""
    ranged = "00 B0 65 00 00 64 00 00 06 0C 00 65 7F 00 64 7F"
    assert cents_of(f"{ranged} 00 06 18 00 E0 00 60 {NOTE}") == pytest.approx(600.0)


def test_other_parameters_do_not_touch_the_range() -> None:
    """Data entry goes to the NRPN while one is chosen (M1 p. 17)."""
    nrpn = "00 B0 63 00 00 62 00 00 06 18"
    sounding = decode(smf(f"{nrpn} 00 E0 00 60 {NOTE}"))
    assert steps(sounding, 0)[0][2] == pytest.approx(100.0)
    assert [tuple(row) for row in sounding.events[["number", "value"]].tolist()] == [(0, 0x18 << 7)]


def test_increment_steps_the_range_by_a_cent() -> None:
    """Data increment 96 steps the LSB, which counts cents for RPN 0."""
    assert cents_of(f"00 B0 65 00 00 64 00 00 60 00 00 E0 00 00 {NOTE}") == pytest.approx(-201.0)


@pytest.mark.parametrize(
    ("msb", "lsb", "cents"),
    [("50", "00", 25.0), ("37", "1F", -13.684), ("46", "33", 9.998), ("40", "00", 0.0)],
)
def test_fine_tuning(msb: str, lsb: str, cents: float) -> None:
    """RPN 1: (n − 8192)·100/8192 cents (M1 p. 18)."""
    heard = cents_of(f"00 B0 65 00 00 64 01 00 06 {msb} 00 26 {lsb} {NOTE}")
    assert heard == pytest.approx(cents, abs=1e-3)


def test_coarse_and_fine_tuning_and_bend_add() -> None:
    """RPN 2: MSB − 64 semitones (M1 p. 18)."""
    coarse, fine = "00 B0 65 00 00 64 02 00 06 41", "00 65 00 00 64 01 00 06 50 00 26 00"
    assert cents_of(f"{coarse} {fine} 00 E0 00 50 {NOTE}") == pytest.approx(100 + 25 + 50)


def test_master_tuning_adds_to_channel_tuning() -> None:
    """CA-025: F0 7F dd 04 03 lsb msb F7 on the same scale as RPN 1; totals add."""
    master = "00 F0 07 7F 7F 04 03 00 50 F7"
    fine = "00 B0 65 00 00 64 01 00 06 50 00 26 00"
    assert cents_of(f"{master} {fine} {NOTE}") == pytest.approx(50.0)


def test_data_lsb_alone_keeps_the_msb_a_channel_starts_with() -> None:
    """RPN 1 starts at 40 00, so LSB 64 alone is half an MSB step up: 64·100/8192 cents."""
    assert cents_of(f"00 B0 65 00 00 64 01 00 26 40 {NOTE}") == pytest.approx(0.78125, abs=1e-4)


def test_master_coarse_tuning_moves_by_semitones() -> None:
    """CA-025: F0 7F dd 04 04 00 msb F7, 64 is none."""
    assert cents_of(f"00 F0 07 7F 7F 04 04 00 3F F7 {NOTE}") == -100.0


def test_other_short_messages_reset_nothing() -> None:
    """GM1 p. 3: only 7E dd 09 01 is System On; 7F dd 09 01 and 7E dd 06 01 (identity request) are not."""
    for other in ("F0 05 7F 7F 09 01 F7", "F0 05 7E 7F 06 01 F7"):
        assert cents_of(f"00 E0 00 60 00 {other} {NOTE}") == pytest.approx(100.0)


def test_reset_all_controllers_centres_the_bend_and_keeps_the_range() -> None:
    """RP-015: bend to centre, parameter selection to null, parameter values kept."""
    ranged = "00 B0 65 00 00 64 00 00 06 0C"
    assert cents_of(f"{ranged} 00 E0 00 60 00 B0 79 00 {NOTE}") == 0.0
    assert cents_of(f"{ranged} 00 79 00 00 E0 00 60 {NOTE}") == pytest.approx(600.0)
    assert cents_of(f"{ranged} 00 79 00 00 06 02 00 E0 00 60 {NOTE}") == pytest.approx(600.0)


@pytest.mark.parametrize(
    "reset",
    [
        "F0 05 7E 7F 09 01 F7",  # GM1 p. 3: System On
        "F0 05 7E 7F 09 03 F7",  # GM2 4.9: GM2 System On
        "F0 0A 41 10 42 12 40 00 7F 00 41 F7",  # from memory
        "F0 08 43 10 4C 00 00 7E 00 F7",  # from memory
    ],
)
def test_device_resets_bring_back_bend_and_range(reset: str) -> None:
    ranged = "00 B0 65 00 00 64 00 00 06 0C 00 E0 00 60"
    assert cents_of(f"{ranged} 00 {reset} {NOTE}") == 0.0
    assert cents_of(f"{ranged} 00 {reset} 00 E0 00 60 {NOTE}") == pytest.approx(100.0)


def test_bend_moves_a_sounding_note_and_its_pedalled_tail() -> None:
    """Outside MPE a bend moves every voice of its channel, released ones too (measured on two synths)."""
    events = "00 B0 40 7F 00 90 3C 40 30 E0 00 50 30 80 3C 40 10 E0 00 30 10 B0 40 00 10 FF 01 01 78"
    sounding = decode(smf(events))
    (note,) = sounding.notes
    assert (note["release_tick"], note["sounding_end_tick"]) == (0x60, 0x80)
    assert steps(sounding, 0) == [(0, 0x30, 0.0), (0x30, 0x70, 50.0), (0x70, 0x80, -50.0)]


def test_bend_after_the_note_on_at_one_tick_counts_from_the_start() -> None:
    sounding = decode(smf("00 90 3C 40 00 E0 00 50 60 80 3C 40"))
    assert steps(sounding, 0) == [(0, 0x60, 50.0)]


def test_ports_keep_their_channels_apart() -> None:
    """FF 21 is a convention outside the standard: channel 1 on port 0 is not channel 1 on port 1."""
    sounding = decode(smf("00 FF 21 01 00 00 E0 00 50" + NOTE, "00 FF 21 01 01" + NOTE))
    assert [steps(sounding, note)[0][2] for note in (0, 1)] == [50.0, 0.0]
    assert sounding.channels == 2


def test_tracks_share_their_channels() -> None:
    sounding = decode(smf("00 E0 00 50", "00 90 3C 40 60 80 3C 40"))
    assert steps(sounding, 0) == [(0, 0x60, 50.0)]

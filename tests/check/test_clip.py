"""MIDI 2.0 clip files: M2-116-U v1.0 (CLIP) and M2-104-UM v1.1.2 (UMP), section numbers beside the checks."""

from __future__ import annotations

import math

import numpy as np
import pytest

from retune.check import decode
from retune.errors import InputError
from tests.check.build import clip, steps

HEADER = "00400000 003001E0 00400000 F0200000 0 0 0 "  # 480 ticks per quarter, start of clip
END = " 00400000 F0210000 0 0 0"
ON, OFF = "40903C00 C9240000 ", "004001E0 40803C00 0 "
PURE_THIRD = 1200 * math.log2(5 / 4) - 400


def heard(packets: str, note: int = 0) -> list[tuple[int, int, float]]:
    return steps(decode(clip(HEADER + packets + END)), note)


def test_one_note_clip() -> None:
    """A pure E4 for one quarter at 120 to the minute, as attribute pitch 7.9 (UMP 7.4.15.3)."""
    data = clip(
        "00400000 003001E0 00400000 F0200000 0 0 0 00400000 D0100000 02FAF080 0 0 00400000 40F04003 0 "
        "00400000 40904003 C9247FBA 004001E0 40804000 0 00400000 F0210000 0 0 0"
    )
    assert len(data) == 112
    sounding = decode(data)
    (note,) = sounding.notes
    assert (note["onset_tick"], note["release_tick"], note["key"], note["velocity"]) == (0, 480, 64, 0x64)
    assert sounding.ticks_per_quarter == 480
    assert tuple(sounding.stored.rows()) == ((0, 0, ("set_tempo", ("tempo", 500_000))),)
    assert steps(sounding, 0)[0][2] == pytest.approx(PURE_THIRD, abs=0.098)  # half a step of 7.9


def test_smallest_clip() -> None:
    """A public test file: header and an empty clip, 56 bytes."""
    data = clip("00400000 00300018 00400000 F0200000 0 0 0 00400000 F0210000 0 0 0")
    assert len(data) == 56
    assert len(decode(data).notes) == 0


@pytest.mark.parametrize(
    ("data", "key", "cents"),
    [("7FB9ED1C", 64, PURE_THIRD), ("860A0275", 67, 1200 * math.log2(3 / 2) - 700), ("79000000", 60, 50.0)],
)
def test_pitch_7_25(data: str, key: int, cents: float) -> None:
    """UMP 7.4.15.2: round(p·2^25)."""
    note = f"4090{key:02X}00 C9240000 "
    pitch = f"4000{key:02X}03 {data} "
    off = f"004001E0 4080{key:02X}00 0 "
    assert heard(pitch + note + off)[0][2] == pytest.approx(cents, abs=1e-4)


def test_pitch_7_25_persists_and_moves_sounding_notes() -> None:
    """UMP 7.4.15.2: it holds for later notes of the key and can move one that sounds."""
    quarter_tone = "40003C03 79000000 "
    rows = heard(ON + "004000F0 " + quarter_tone + OFF + ON + OFF)
    assert rows == [(0, 240, 0.0), (240, 720, 50.0)]
    assert heard(quarter_tone + ON + OFF + ON + OFF, 1)[0][2] == 50.0


def test_pitch_7_9_overrides_pitch_7_25() -> None:
    """UMP 7.4.15: note number < table < 7.25 < 7.9."""
    assert heard("40003C03 79000000 40903C03 C9247820 " + OFF)[0][2] == pytest.approx(6.25)
    assert heard("40003C03 79000000 40903C03 C9247820 " + OFF + ON + OFF, 1)[0][2] == 50.0


def test_tuning_table_gives_way_to_pitch_7_25() -> None:
    """Single note change of key 60 to +25 cents in two packets of 7-bit sysex."""
    table = "30167F7F 08020001 30343C3C 20000000 "
    assert heard(table + ON + OFF)[0][2] == 25.0
    assert heard(table + "40003C03 79000000 " + ON + OFF)[0][2] == 50.0


@pytest.mark.parametrize(
    ("range_", "bend", "cents"),
    [
        ("40200007 60000000", "81555555", 50.0),
        ("40200007 60000000", "7FA2917B", PURE_THIRD),
        ("40200007 04000000", "773DA38E", PURE_THIRD),
        ("", "81555555", 50.0),  # 48 semitones unless said
    ],
)
def test_per_note_bend(range_: str, bend: str, cents: float) -> None:
    """UMP 7.4.13: value = 80000000 + round(c/(100·R)·2^31)."""
    assert heard(f"{range_} 40603C00 {bend} " + ON + OFF)[0][2] == pytest.approx(cents, abs=1e-4)


def test_reset_and_detach() -> None:
    """UMP 7.4.5: D leaves the sounding note as it is, S sets the controllers back for the next."""
    first = "40003C03 79000000 " + ON + "004000F0 "
    again = "40F03C03 00000000 40003C03 7A000000 " + ON + "004000F0 40803C00 0 40803C00 0 "
    rows = heard(first + again, 0)
    assert rows == [(0, 480, 50.0)]
    assert heard(first + again, 1) == [(240, 480, 100.0)]
    assert heard(first + "40F03C01 00000000 " + OFF) == [(0, 240, 50.0), (240, 720, 0.0)]  # S alone


def test_channel_bend_and_its_range_add() -> None:
    """Channel bend is 32 bits wide; RPN 00/00 has semitones in the top 7 bits, cents in the next 7."""
    assert heard("40E00000 C0000000 " + ON + OFF)[0][2] == pytest.approx(100.0)
    assert heard("40200000 18000000 40E00000 C0000000 " + ON + OFF)[0][2] == pytest.approx(600.0)
    assert heard("40E00000 C0000000 40003C03 79000000 " + ON + OFF)[0][2] == pytest.approx(150.0)


def test_fine_and_coarse_tuning() -> None:
    assert heard("40200001 A0000000 40200002 82000000 " + ON + OFF)[0][2] == pytest.approx(25.0 + 100.0)


def test_note_number_as_a_mere_index() -> None:
    """7.4.15.3: a note far from its number is named by its pitch: index 10 sounding 60.25 is key 60, +25."""
    sounding = decode(clip(HEADER + "40900A03 C9247880 004001E0 40800A00 0 " + END))
    assert (int(sounding.notes["key"][0]), steps(sounding, 0)[0][2]) == (60, 25.0)


def test_velocity_0_is_a_note_and_programs_carry_banks() -> None:
    """UMP 7.4.2: no note-off by velocity; 7.4.9: bank valid bit."""
    sounding = decode(clip(HEADER + "40C20001 13000500 40923C00 00000000 004001E0 40823C00 80000000" + END))
    (note,) = sounding.notes
    assert (note["velocity"], note["release_velocity"], note["program"], note["channel"]) == (1, 64, 0x13, 2)
    assert {tuple(row) for row in sounding.events[["kind", "number", "value"]].tolist()} == {
        (0, 0, 5),
        (0, 32, 0),
        (1, 0, 0x13),
    }


def test_groups_are_apart_and_old_messages_are_heard() -> None:
    """MIDI 1.0 messages in packets (type 2) may fill a group of their own."""
    old = "21E00050 21903C40 "
    sounding = decode(clip(HEADER + old + ON + OFF + "21803C20 " + END))
    assert sounding.notes["port"].tolist() == [1, 0]
    assert [steps(sounding, note)[0][2] for note in (0, 1)] == [50.0, 0.0]
    assert sounding.notes["release_velocity"].tolist() == [0x20, 0]


def test_sustain_pedal() -> None:
    sounding = decode(clip(HEADER + "40B04000 FFFFFFFF " + ON + OFF + "004000F0 40B04000 0 " + END))
    assert sounding.notes["sounding_end_tick"].tolist() == [720]


def test_texts_meter_and_long_times() -> None:
    """Flex data: text over two packets, 6/8; a clockstamp reaches 1 048 575 ticks, then comes a NOOP (3.2.2)."""
    text = "D0500103 49206769 76652079 6F75206D D0D00103 6F726E69 6E670000 00000000 "
    meter = "D0100001 06030800 0 0 "
    long = "004FFFFF 0 004FFFFF "
    sounding = decode(clip(HEADER + text + meter + long + ON + OFF + END))
    assert tuple(sounding.stored.rows()) == (
        (0, 0, ("text", "I give you morning")),
        (0, 0, ("time_signature", 6, 8)),
    )
    assert sounding.notes["onset_tick"].tolist() == [2 * 1_048_575]


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (clip(HEADER), "no end of clip"),
        (clip(HEADER + ON) + b"\0", "whole number of 32-bit words"),
        (clip(HEADER + "40903C00"), "byte 36: the last packet was cut short"),
        (clip("00400000 F0200000 0 0 0 00400000 F0210000 0 0 0"), "no ticks per quarter"),
        (clip(HEADER + END + " 00400000"), "data after the end of the clip"),
    ],
)
def test_broken_clips(data: bytes, message: str) -> None:
    with pytest.raises(InputError, match=message):
        decode(data)


def test_bends_over_time_against_plain_arithmetic() -> None:
    """A glide of per-note bends: every step is heard where it stands."""
    values = np.linspace(-40.0, 40.0, 9)
    words = [round(0x80000000 + c / 4800 * 2**31) for c in values]
    glide = "".join(f"0040000A 40603C00 {word:08X} " for word in words)
    rows = heard(ON + glide + OFF)
    assert [row[0] for row in rows[1:]] == [10 * k for k in range(1, 10)]
    assert [row[2] for row in rows[1:]] == pytest.approx(values.tolist(), abs=1e-4)

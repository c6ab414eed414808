"""MIDI Tuning Standard messages against the MIDI Tuning Updated Specification (page numbers: that text)."""

from __future__ import annotations

import numpy as np
import pytest

from retune.check import decode
from retune.check.receiver.mts import KeyChange, OctaveChange, read_tuning
from tests.check.build import cents_of, smf, steps

NOTE = "00 90 40 40 60 80 40 40"


def sysex(body: str) -> str:
    """A sysex event at delta 0."""
    size = len(bytes.fromhex(body)) + 1
    return f"00 F0 {size:02X} {body} F7 "


def single(key: str, word: str) -> str:
    return sysex(f"7F 7F 08 02 00 01 {key} {word}")


@pytest.mark.parametrize(
    ("word", "hertz"),
    [
        ("00 00 00", 8.1758),
        ("01 00 00", 8.6620),
        ("0C 00 00", 16.3516),
        ("3C 00 00", 261.6256),
        ("3D 00 00", 277.1827),
        ("44 7F 7F", 439.9984),
        ("45 00 00", 440.0),
        ("45 00 01", 440.0016),
        ("78 00 00", 8372.0190),
        ("7F 00 00", 12543.8800),
        ("7F 7F 7E", 13289.7300),
    ],
)
def test_frequencies_printed_in_the_standard(word: str, hertz: float) -> None:
    """P. 1's table of frequency words, but for the row 00 00 01, which is a slip there."""
    cents = cents_of(single("40", word) + NOTE)
    assert 1200 * np.log2(440.0 * 2 ** ((0x40 - 69) / 12 + cents / 1200) / hertz) == pytest.approx(
        0, abs=0.011
    )


@pytest.mark.parametrize(
    ("key", "word", "pure"),
    [
        ("40", "3F 6E 3E", 1200 * np.log2(5 / 4) - 400),
        ("43", "43 02 40", 1200 * np.log2(3 / 2) - 700),
        ("3F", "3F 14 03", 1200 * np.log2(6 / 5) - 300),
        ("46", "45 58 0C", 1200 * np.log2(7 / 4) - 1000),
        ("45", "45 40 00", 50.0),
    ],
)
def test_pure_intervals_as_single_notes(key: str, word: str, pure: float) -> None:
    """n = round(p·16384): worst error 0.0031 cents (p. 1)."""
    note = f"00 90 {key} 40 60 80 {key} 40"
    assert cents_of(single(key, word) + note) == pytest.approx(pure, abs=0.0031)


def test_no_change_word_and_other_keys() -> None:
    assert cents_of(single("40", "7F 7F 7F") + NOTE) == 0.0
    assert cents_of(single("41", "41 20 00") + NOTE) == 0.0


def test_real_time_change_moves_sounding_notes() -> None:
    """P. 3: the single note change takes effect on sounding notes at once."""
    change = sysex("7F 7F 08 02 00 01 40 40 20 00").replace("00 F0", "30 F0", 1)
    sounding = decode(smf(f"00 90 40 40 {change} 30 80 40 40"))
    assert steps(sounding, 0) == [(0, 0x30, 0.0), (0x30, 0x60, 25.0)]


def test_change_out_of_real_time_leaves_sounding_notes() -> None:
    """P. 4: 7E … 08 07 tunes later notes only."""
    change = sysex("7E 7F 08 07 00 00 01 40 40 20 00").replace("00 F0", "30 F0", 1)
    sounding = decode(smf(f"00 90 40 40 {change} 30 80 40 40 {NOTE}"))
    assert steps(sounding, 0) == [(0, 0x60, 0.0)]
    assert steps(sounding, 1)[0][2] == 25.0


def test_programs_and_banks() -> None:
    """RPN 3 and 4 choose the tuning (p. 3): a change to program 5 of bank 2 is heard once both are chosen."""
    change = sysex("7F 7F 08 07 02 05 01 40 40 20 00")
    bank, program = "00 B0 65 00 00 64 04 00 06 02", "00 65 00 00 64 03 00 06 05"
    assert cents_of(f"{change} {NOTE}") == 0.0
    assert cents_of(f"{change} {bank} {NOTE}") == 0.0
    assert cents_of(f"{change} {bank} {program} {NOTE}") == 25.0


def test_choosing_a_tuning_moves_sounding_notes() -> None:
    change = sysex("7F 7F 08 02 05 01 40 40 20 00")
    sounding = decode(smf(f"{change} 00 90 40 40 30 B0 65 00 00 64 03 00 06 05 30 80 40 40"))
    assert steps(sounding, 0) == [(0, 0x30, 0.0), (0x30, 0x60, 25.0)]


def test_a_tuning_chosen_later_is_heard_as_it_stands_by_then() -> None:
    """P. 4: 7E … 08 07 leaves what sounds alone, but a channel that then changes to that tuning has it (p. 3)."""
    change = sysex("7E 7F 08 07 00 05 01 40 40 20 00").replace("00 F0", "30 F0", 1)
    sounding = decode(smf(f"00 90 40 40 {change} 30 B0 65 00 00 64 03 00 06 05 30 80 40 40"))
    assert steps(sounding, 0) == [(0, 0x60, 0.0), (0x60, 0x90, 25.0)]


@pytest.mark.parametrize(
    ("one_byte", "two_bytes", "cents"),
    [
        ("32", "37 1F", -13.6863),
        ("42", "41 20", 1.955),
        ("50", "4A 01", 15.641),
        ("21", "2C 06", -31.174),
        ("40", "40 00", 0.0),
        ("00", "00 00", -100.0),
        ("7F", "7F 7F", 99.988),
    ],
)
def test_scale_octave_values(one_byte: str, two_bytes: str, cents: float) -> None:
    """Pp. 7-8: one byte counts cents from 64; two bytes, MSB first, 8192 steps to 100 cents."""
    body = " ".join(["40"] * 4 + [one_byte] + ["40"] * 7)
    if abs(cents) < 64:
        assert cents_of(sysex(f"7F 7F 08 08 03 7F 7F {body}") + NOTE) == pytest.approx(round(cents))
    body = " ".join(["40 00"] * 4 + [two_bytes] + ["40 00"] * 7)
    assert cents_of(sysex(f"7F 7F 08 09 03 7F 7F {body}") + NOTE) == pytest.approx(cents, abs=0.0062)


@pytest.mark.parametrize(
    ("bitmap", "channel"),
    [
        ("00 00 01", 1),
        ("00 00 40", 7),
        ("00 01 00", 8),
        ("00 04 00", 10),
        ("00 40 00", 14),
        ("01 00 00", 15),
        ("02 00 00", 16),
    ],
)
def test_channel_bitmap(bitmap: str, channel: int) -> None:
    """P. 7: ff bits 0-1 are channels 15-16, gg 8-14, hh 1-7."""
    data = bytes.fromhex(f"7F 7F 08 08 {bitmap} 40 40 40 40 32 40 40 40 40 40 40 40")
    change = read_tuning(tuple(data))
    assert isinstance(change, OctaveChange)
    assert change.channels == 1 << (channel - 1)


def test_octave_tables_reach_only_their_channels_and_spare_percussion() -> None:
    """GM2 4.7: rhythm channels are not scale tuned."""
    table = sysex("7F 7F 08 08 03 7F 7E 40 40 40 40 32 40 40 40 40 40 40 40")  # channels 2-16
    notes = "00 90 40 40 00 91 40 40 00 99 40 40 60 80 40 40 00 81 40 40 00 89 40 40"
    sounding = decode(smf(table + notes))
    assert [steps(sounding, note)[0][2] for note in range(3)] == [0.0, -14.0, 0.0]


def test_offsets_replace_each_other() -> None:
    """P. 6: each message counts from equal temperament, not from the one before."""
    table = sysex("7F 7F 08 08 03 7F 7F 40 40 40 40 32 40 40 40 40 40 40 40")
    assert cents_of(table + table + NOTE) == -14.0


def test_bulk_dump_of_equal_temperament_and_one_changed_key() -> None:
    """P. 2: 08 01, 16 characters of name, 128 words, checksum; 408 bytes with F0 and F7."""
    words = [f"{key:02X} 00 00" for key in range(128)]
    words[0x40] = "3F 6E 3E"
    name = b"12-TET".ljust(16).hex(" ")
    body = bytes.fromhex(f"7E 7F 08 01 00 {name} {' '.join(words)} 63")
    assert len(body) + 2 == 408
    change = read_tuning(tuple(body))
    assert isinstance(change, KeyChange)
    assert change.cents[0x40] == pytest.approx(-13.6863, abs=0.0031)
    assert all(cents == 0.0 for key, cents in change.cents.items() if key != 0x40)
    assert not change.moves_sounding


def test_key_based_and_octave_dumps() -> None:
    """Pp. 5-6: 08 04 has a bank before the program; 08 05 and 08 06 hold twelve offsets."""
    name = b"pure".ljust(16).hex(" ")
    words = " ".join(f"{key:02X} 20 00" for key in range(128))
    keyed = read_tuning(tuple(bytes.fromhex(f"7E 7F 08 04 01 02 {name} {words} 00")))
    assert isinstance(keyed, KeyChange)
    assert (keyed.bank, keyed.program, set(keyed.cents.values())) == (1, 2, {25.0})
    octave = read_tuning(tuple(bytes.fromhex(f"7E 7F 08 05 01 02 {name} {'32 ' * 12} 00")))
    assert isinstance(octave, KeyChange)
    assert set(octave.cents.values()) == {-14.0}
    fine = read_tuning(tuple(bytes.fromhex(f"7E 7F 08 06 01 02 {name} {'37 1F ' * 12} 00")))
    assert isinstance(fine, KeyChange)
    assert fine.cents[60] == pytest.approx(-13.684, abs=1e-3)
    for body in (f"04 01 02 {name} {words} 00", f"05 01 02 {name} {'32 ' * 12} 00"):
        assert read_tuning(tuple(bytes.fromhex(f"7F 7F 08 {body}"))) is None, "dumps have no real-time form"


@pytest.mark.parametrize(
    "body",
    [
        "7F 7F 08 02 00 02 40 40 20 00",  # says two keys, holds one
        "7F 7F 08 08 03 7F 7F 40 40",  # twelve offsets wanted
        "7E 7F 08 02 00 01 40 40 20 00",  # the single note change without a bank is in real time only (p. 2)
        "7E 7F 08 00 00",  # dump request
        "7E 7F 08 03 00 00",  # dump request with bank
        "7E 7F 09 01",  # General MIDI
        "7F 7F 04 01 00 40",  # master volume
    ],
)
def test_messages_that_tune_nothing(body: str) -> None:
    assert read_tuning(tuple(bytes.fromhex(body))) is None

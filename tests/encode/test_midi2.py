"""MIDI 2.0 clip files: UMP is M2-104-UM v1.1.2, CLIP is M2-116-U v1.0, SCALE is M2-115-U."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings

from retune.check import check, decode
from retune.encode import encode
from retune.encode.model import Encoded
from retune.encode.writing import packets
from retune.options import Options
from retune.pipeline import analyze, convert, tune
from retune.score import Score, read_score
from retune.tuning.model import Tuning
from tests.encode.build import Event, file_of, in_order, note, score_of, tuning_of
from tests.encode.test_properties import MESSAGES, NOTES, build, wanted
from tests.score.real_music import real_file

MIDI2 = Options(encoding="midi2")
EXACT = 50.0 / 2**25  # half a step of pitch 7.25 [cents]
SAMPLES = sorted((Path(__file__).parents[2] / "sample_scores").glob("*.mid"))
PURE_THIRD, PURE_FIFTH = 1200 * math.log2(5 / 4) - 400, 1200 * math.log2(3 / 2) - 700


def encoded(score: Score, tuning: Tuning) -> Encoded:
    return encode(score, tuning, MIDI2)


def words(result: Encoded) -> list[str]:
    """The file behind its magic, as 32-bit words in hex."""
    data = result.files[0].data
    assert data[:8] == b"SMF2CLIP"
    return [data[at : at + 4].hex().upper() for at in range(8, len(data), 4)]


def without_empty_clockstamps(found: list[str]) -> list[str]:
    """Events of one tick may share a clockstamp or have one each (CLIP 3.2.2)."""
    return [word for word in found if word != "00400000"]


def words_of(tracks: list[list[Event]], offsets: list) -> list[str]:
    score = score_of(tracks)
    return words(encoded(score, tuning_of(score, offsets)))


def has(found: list[str], wanted: str) -> bool:
    return wanted in " ".join(found)


def assert_right(score: Score, tuning: Tuning) -> Encoded:
    """Faithful, and every note as intended, heard by the check's own receiver."""
    result = encoded(score, tuning)
    report = check(score, result, intended=tuning)
    assert report.problems == ()
    assert report.error is not None
    assert report.error.worst_cents <= result.worst_error_cents + 1e-6
    return result


@pytest.mark.parametrize(
    ("value", "expected"),
    [(0x05, 0x0A00), (0x40, 0x8000), (0x46, 0x8C30), (0x60, 0xC104), (0x78, 0xF1C7), (0x7F, 0xFFFF), (0, 0)],
)
def test_bit_scaling(value, expected):
    """SCALE 3.3.3, 7 to 16 bits; lowest, centre and highest stay so at every width."""
    assert packets.scale_up(value, 7, 16) == expected
    assert [packets.scale_up(v, 7, 32) for v in (0, 64, 127)] == [0, 1 << 31, 0xFFFFFFFF]
    assert [packets.scale_up(v, 14, 32) for v in (0, 8192, 16383)] == [0, 1 << 31, 0xFFFFFFFF]


def test_smallest_clip():
    """A public test file of 56 bytes, matching CLIP 5-7."""
    expected = "534D4632434C4950 00400000 00300018 00400000 F0200000" + "0" * 24
    expected += "00400000 F0210000" + "0" * 24
    assert packets.write_clip(24, [], 0) == bytes.fromhex(expected)


def test_one_note_clip():
    """CLIP 5-7: the words of a pure E4 at 120, with pitch 7.25, one clockstamp a tick, and the default meter."""
    found = words_of([[(0, "meta set_tempo tempo=500000"), *note(0, 480, 64, velocity=0x64)]], [PURE_THIRD])
    expected = (
        "00400000 003001E0 00400000 F0200000 0 0 0 00400000 D0100000 02FAF080 0 0 D0100001 04020800 0 0 "
        "40F04003 0 40004003 7FB9ED1C 40904000 C9240000 004001E0 40804000 80000000 00400000 F0210000 0 0 0"
    )
    expected_words = [word.rjust(8, "0") for word in expected.split()]
    assert without_empty_clockstamps(found) == without_empty_clockstamps(expected_words)


@pytest.mark.parametrize(
    ("key", "cents", "data"),
    [(64, PURE_THIRD, "7FB9ED1C"), (67, PURE_FIFTH, "860A0275"), (60, 50.0, "79000000")],
)
def test_pitch_7_25(key, cents, data):
    """UMP 7.4.15.2: round(p · 2^25), directly after management and before the note-on."""
    found = words_of([note(0, 480, key, velocity=64)], [cents])
    assert has(found, f"40F0{key:02X}03 00000000 4000{key:02X}03 {data} 4090{key:02X}00 80000000")


def test_a_sounding_note_is_moved_by_the_same_message():
    found = words_of([note(0, 480, 60)], [[(0, 0.0), (240, 50.0)]])
    assert has(found, "004000F0 40003C03 79000000 004000F0 40803C00")


@pytest.mark.parametrize("reset", ["7E 7F 09 01", "7E 7F 09 03"])
def test_after_a_device_reset_every_key_is_told_its_pitch(reset):
    """General MIDI puts a device to its start (RP-003 p. 3, RP-024 4.9): what pitch a key has then is not known."""
    notes = [note(960 * k, 960 * k + 480, key) for k, key in enumerate((60, 64, 60, 64, 60))]
    cents = [50.0, 0.0, 0.0, 0.0, 0.0]
    pitches = ["40003C03 79000000", "40003C03 78000000", "40004003 80000000"]
    plain = " ".join(words_of([in_order(*notes)], cents))
    assert [plain.count(pitch) for pitch in pitches] == [1, 2, 0]
    again = words_of([in_order(*notes, [(1800, f"sysex {reset}")])], cents)
    _, system_exclusive, after = " ".join(again).partition("30047E7F")  # four bytes in one packet (UMP 7.7)
    assert system_exclusive
    assert [after.count(pitch) for pitch in pitches] == [0, 2, 1]


def test_long_times_have_a_clockstamp_in_between():
    """CLIP 3.2.2: at most 1 048 575 ticks, then one with a packet that does nothing."""
    start = 2 * 1_048_575 + 10
    score = score_of([note(start, start + 480, 60)])
    result = assert_right(score, tuning_of(score, [0.0]))
    stamped = " ".join(words(result)).partition("40903C00")[0].split()
    waits = [int(word, 16) & 0xFFFFF for word in stamped if word.startswith("004")]
    assert (sum(waits), len([w for w in waits if w])) == (start, 3)
    assert stamped.count("004FFFFF") == 2 or max(waits) < 0xFFFFF


def test_percussion_has_no_pitch():
    """General MIDI 1 p. 2: channel 10 is percussion."""
    score = score_of([[*note(0, 480, 38, channel=9)], [*note(0, 480, 60)]])
    found = words(assert_right(score, tuning_of(score, [12.5])))
    assert not any(word.startswith(("40F92603", "40092603")) for word in found)
    assert has(found, "40992600")


def test_programs_carry_their_bank_and_parameters_their_number():
    """UMP 7.4.9 and 7.4.7; control changes 0, 6, 32, 38 and 98-101 are not to be sent."""
    groups = [(0, 5), (32, 7)], [(101, 0), (100, 0), (6, 48), (38, 0)], [(99, 1), (98, 8), (6, 70)]
    bank, bend_range, other = (
        [(0, f"control_change channel=2 control={c} value={v}") for c, v in group] for group in groups
    )
    program = [(0, "program_change channel=2 program=19")]
    score = score_of([[*bank, *program, *bend_range, *other, *note(0, 480, 60, channel=2)]])
    found = words(assert_right(score, tuning_of(score, [3.0])))
    assert has(found, "40C20001 13000507 40220000 60000000")
    assert has(found, "40320108 8C")  # 70 in 14 bits, stretched: above the centre
    assert not any(word.startswith("40B2") for word in found)


def test_bends_pressure_pedal_and_sysex_are_kept():
    events = [
        (0, "pitchwheel channel=0 pitch=4096"),
        (0, "control_change channel=0 control=64 value=127"),
        (0, "sysex 7E 7F 09 01"),
        (0, "sysex 41 01 02 03 04 05 06"),
        (10, "aftertouch channel=0 value=64"),
        (20, "polytouch channel=0 note=60 value=127"),
    ]
    score = score_of([in_order(events, note(30, 480, 60))], end=960)
    found = words(assert_right(score, tuning_of(score, [3.0])))
    for packet in ("40E00000 C0000000", "40B04000 FFFFFFFF", "40D00000 80000000", "40A03C00 FFFFFFFF"):
        assert has(found, packet)
    assert has(found, "30047E7F 09010000 30164101 02030405 30310600 00000000")


def test_input_bends_add_to_the_pitch():
    """UMP 7.4.15: channel bend is added to pitch 7.25."""
    score = score_of([[(0, "pitchwheel channel=0 pitch=8191"), *note(0, 480, 60)]])
    (row,) = decode(encoded(score, tuning_of(score, [10.0])).files[0].data).curve
    assert row["cents"] == pytest.approx(10.0 + 200.0 * 8191 / 8192, abs=1e-5)


def test_texts_and_timing_become_flex_data():
    """UMP 7.5: texts in packets of 12 bytes, UTF-8; 6/8; the tonic of F# minor is F."""
    head = [
        (0, "meta track_name name=A_long_name_of_a_piece"),
        (0, "meta copyright text=nobody"),
        (0, "meta time_signature numerator=6 denominator=8"),
        (0, "meta key_signature key=F#m"),
        (0, "meta lyrics text=l\xe4"),
        (0, "meta lyrics text=l\xc3\xa4"),  # the same as UTF-8 bytes
        (0, "meta marker text=A"),
    ]
    score = score_of([[*head, *note(0, 480, 60)]])
    found = words(assert_right(score, tuning_of(score, [0.0])))
    assert has(found, "D0100001 06030800")
    assert has(found, "D0100005 36000000")
    assert has(found, "D0500100 415F6C6F 6E675F6E 616D655F D0D00100 6F665F61 5F706965 63650000")
    assert has(found, "D0100104 6E6F626F 64790000")
    assert " ".join(found).count("D0100201 6CC3A400") == 2
    assert has(found, "D0100100 41000000")


def test_ports_become_groups():
    tracks = [
        [(0, f"meta midi_port port={port}"), *note(0, 480, 60, velocity=1 + port)] for port in (0, 3, 15)
    ]
    score = score_of(tracks)
    notes = decode(assert_right(score, tuning_of(score, [0.0, 5.0, 9.0])).files[0].data).notes
    assert notes["port"].tolist() == [0, 3, 15]


def test_equal_keys_of_a_channel_have_their_own_pitches():
    """UMP 7.4.5: the older note is cut loose and keeps its pitch."""
    score = score_of([in_order(note(0, 480, 60, velocity=1), note(240, 720, 60, velocity=2))])
    tuning = tuning_of(score, [10.0, -10.0])
    result = assert_right(score, tuning)
    assert decode(result.files[0].data).curve["cents"] == pytest.approx([10.0, -10.0], abs=1e-5)
    assert result.worst_error_cents <= EXACT
    assert not any(word.startswith("40904") for word in words(result))  # both are key 60


def test_equal_keys_that_move_together_share_a_number():
    """A unison of two voices on one channel."""
    score = score_of([note(0, 480, 60, velocity=1), note(0, 480, 60, velocity=2)])
    result = assert_right(score, tuning_of(score, [[(0, 1.0), (100, 2.0)]] * 2))
    assert " ".join(words(result)).count("40F03C03") == 1


def test_equal_keys_that_move_apart_take_another_number():
    """UMP appendix C.3: a note number as a mere index."""
    score = score_of([in_order(note(0, 480, 60, velocity=1), note(240, 720, 60, velocity=2))])
    tuning = tuning_of(score, [[(0, 1.0), (300, 8.0)], [(240, -5.0), (400, -9.0)]])
    result = assert_right(score, tuning)
    assert result.worst_error_cents <= EXACT
    assert not result.remarks
    numbers = {word[4:6] for word in words(result) if word.startswith("4090")}
    assert len(numbers) == 2


def test_the_longer_of_two_equal_keys_is_released_last():
    """Two tracks on one channel: releases of one number would be taken first in, first out."""
    score = score_of([note(0, 960, 60, velocity=1), note(240, 480, 60, velocity=2)])
    notes = decode(assert_right(score, tuning_of(score, [1.0, 2.0])).files[0].data).notes
    assert dict(zip(notes["velocity"].tolist(), notes["release_tick"].tolist(), strict=True)) == {
        1: 960,
        2: 480,
    }


def test_the_lowest_pitch_is_announced():
    """Pitch 7.25 has no sign: nothing lies below key 0."""
    score = score_of([note(0, 480, 0)])
    result = assert_right(score, tuning_of(score, [-30.0]))
    assert result.worst_error_cents == pytest.approx(30.0)


@pytest.mark.parametrize(("rate", "per_frame"), [(25, 40), (30, 80), (24, 4)])
def test_divisions_in_seconds(rate, per_frame):
    """SMF 2.1: frames and ticks per frame; a clip counts in quarters of a half second, in 16 bits."""
    plain = file_of([[*note(0, 4801, 60), *note(100_000, 100_013, 64)]])
    division = ((256 - rate) << 8 | per_frame).to_bytes(2, "big")
    score = read_score(plain[:12] + division + plain[14:])
    data = assert_right(score, tuning_of(score, [1.0, 2.0])).files[0].data
    per_quarter = int.from_bytes(data[14:16], "big")
    seconds = decode(data).notes["onset_tick"][1] / per_quarter / 2
    assert seconds == pytest.approx(100_000 / (rate * per_frame), abs=0.5 / (2 * per_quarter) + 1e-9)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_sample_scores(path):
    analysis = analyze(path.read_bytes())
    result = assert_right(analysis.score, tune(analysis, explain=False))
    assert result.worst_error_cents <= EXACT


@pytest.mark.parametrize("work", ["bach/bwv66.6", "haydn/opus1no1/movement4"])
def test_real_music(work):
    analysis = analyze(real_file(work))
    result = assert_right(analysis.score, tune(analysis, explain=False))
    assert result.worst_error_cents <= EXACT
    assert result.channels_used == len(
        {(p.port, p.channel) for p in analysis.score.parts if (analysis.score.notes["part"] == p.index).any()}
    )


@pytest.mark.parametrize("reference", [380.0, 500.0])
def test_low_and_high_reference(reference):
    """Offsets far from the key do not make another key of it."""
    conversion = convert(SAMPLES[0].read_bytes(), Options(encoding="midi2", reference_hz=reference))
    assert conversion.checked.ok
    assert conversion.files[0].extension == ".midi2"


@settings(max_examples=40, deadline=None)
@given(NOTES, MESSAGES)
def test_random_music(notes, messages):
    assume(all(abs(cents) < 45 for *_, cents, _ in notes))  # a foreign number must still tell its key
    for kind in (0, 1):
        original, _ = build(notes, messages, kind)
        score = read_score(original)
        tuning = wanted(score, notes)
        result = encoded(score, tuning)
        report = check(score, result, intended=tuning)
        assert report.problems == ()
        assert result.worst_error_cents <= EXACT or result.remarks
        assert result == encoded(read_score(original), tuning)
        assert np.array_equal(np.sort(score.notes["key"]), np.sort(decode(result.files[0].data).notes["key"]))

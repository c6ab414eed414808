"""MIDI 2.0 clips: published words, and the clip as the independent decoder of the check hears it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retune import pipeline
from retune.check import check, decode
from retune.check.receiver.sounding import KEY_PRESSURE
from retune.encode import encode
from retune.encode.midi2 import free_index
from retune.encode.writing import packets as ump
from retune.errors import OptionError
from retune.options import Options
from retune.score import read_score
from tests.encode.build import file_of, in_order, note, score_of, tuning_of
from tests.encode.test_properties import MESSAGES, NOTES, build, wanted

THIRD = float(1200 * np.log2(5 / 4) - 400)


def words(data: bytes) -> list[str]:
    assert data[:8] == b"SMF2CLIP"
    return [f"{w:08X}" for w in np.frombuffer(data, ">u4", offset=8).tolist()]


@pytest.mark.parametrize(
    ("value", "expected"),
    [(0x05, 0x0A00), (0x40, 0x8000), (0x46, 0x8C30), (0x60, 0xC104), (0x78, 0xF1C7), (0x7F, 0xFFFF), (0, 0)],
)
def test_velocities_are_scaled_as_published(value, expected):
    """Test values of M2-115-U (MIDI 2.0 Bit Scaling and Resolution) 3.3.3."""
    assert ump.scale_up(value, 7, 16) == expected


@pytest.mark.parametrize(("bits", "to_bits"), [(7, 16), (7, 32), (14, 32)])
def test_scaling_keeps_lowest_centre_and_highest(bits, to_bits):
    """M2-115-U 3.3: minimum, centre and maximum are kept, and the way back is a shift."""
    top = (1 << bits) - 1
    assert ump.scale_up(0, bits, to_bits) == 0
    assert ump.scale_up(1 << bits - 1, bits, to_bits) == 1 << to_bits - 1
    assert ump.scale_up(top, bits, to_bits) == (1 << to_bits) - 1
    for value in range(0, top + 1, 7):
        assert ump.scale_up(value, bits, to_bits) >> to_bits - bits == value


def test_smallest_clip():
    """M2-116-U v1.0 (MIDI Clip File) sections 4 to 7: header with 24 ticks a quarter, start, end."""
    data = ump.write_clip(24, [], 0)
    zeros = "00000000 00000000 00000000"
    expected = f"00400000 00300018 00400000 F0200000 {zeros} 00400000 F0210000 {zeros}"
    assert words(data) == expected.split()


def test_a_clip_of_one_note():
    """Computed from M2-116-U and M2-104-UM 7.4: management, pitch 7.25 of a pure E4, note-on of velocity 64 hex."""
    score = score_of([[(0, "meta set_tempo tempo=500000"), *note(0, 480, 0x40, velocity=0x64, release=0)]])
    data = encode(score, tuning_of(score, [THIRD]), Options(encoding="midi2")).files[0].data
    expected = (
        "00400000 003001E0 00400000 F0200000 00000000 00000000 00000000 D0100000 02FAF080 00000000 00000000"
        " D0100001 04020800 00000000 00000000 40F04003 00000000 40004003 7FB9ED1C 40904000 C9240000"
        " 004001E0 40804000 00000000 00400000 F0210000 00000000 00000000 00000000"
    )
    assert words(data) == expected.split()


@pytest.mark.parametrize(
    ("packet", "expected"),
    [
        (ump.management(0, 0, 0x40), "40F04003 00000000"),  # detach and reset, M2-104-UM 7.4.5
        (
            ump.pitch(0, 0, 0x40, round((64 + THIRD / 100) * 2**25)),
            "40004003 7FB9ED1C",
        ),  # 7.4.15.2: 5/4 above C4
        (ump.pitch(0, 0, 0x3C, round(60.5 * 2**25)), "40003C03 79000000"),
        (ump.tempo(500_000), "D0100000 02FAF080 00000000 00000000"),  # 7.5: units of 10 ns
        (ump.time_signature(6, 8, 8), "D0100001 06030800 00000000 00000000"),
    ],
)
def test_packets(packet, expected):
    assert [f"{w:08X}" for w in packet] == expected.split()


def test_system_exclusive_in_packets_of_six_bytes():
    """M2-104-UM 7.7: whole, or start, continuation and end; the number of bytes beside."""
    assert [[f"{w:08X}" for w in p] for p in ump.system_exclusive(0, bytes([0x7E, 0x7F, 9, 1]))] == [
        ["30047E7F", "09010000"]
    ]
    long = ump.system_exclusive(2, bytes(range(1, 15)))
    assert [p[0] >> 16 for p in long] == [0x3216, 0x3226, 0x3232]


def test_long_waits_are_cut():
    """M2-116-U 3.2.2: a clockstamp holds 20 bits; one is due at least that often."""
    data = ump.write_clip(480, [(3_000_000, ump.NOOP)], 3_000_000)
    stamps = [int(w, 16) & 0xFFFFF for w in words(data) if w.startswith("004")]
    assert sum(stamps) == 3_000_000


def test_equal_keys_at_once_use_other_octaves_as_indices():
    assert free_index(60, set()) == 60
    assert free_index(60, {60}) == 48
    assert free_index(60, {60, 48}) == 72
    assert free_index(60, set(range(0, 128, 12))) == 55
    tracks = [in_order(note(0, 960, 60, velocity=1), note(480, 1440, 60, velocity=2))]
    score = score_of(tracks)
    tuning = tuning_of(score, [3.0, 8.0])
    report = check(score, encode(score, tuning, Options(encoding="midi2")), intended=tuning)
    assert report.ok, report.problems


def test_what_a_clip_has_no_place_for_is_said():
    tracks = [[(0, "meta smpte_offset hours=1"), *note(0, 480, 60)]]
    score = score_of(tracks)
    (remark,) = encode(score, tuning_of(score, [5.0]), Options(encoding="midi2")).remarks
    assert remark.code == "not-in-clip"
    assert "smpte offset" in remark.message


def test_texts_programs_and_parameters_survive():
    events = [
        (0, "meta copyright text=Grüße-aus-dem-Archiv"),
        (0, "control_change channel=0 control=0 value=3"),
        (0, "program_change channel=0 program=24"),
        (0, "control_change channel=0 control=99 value=1"),
        (0, "control_change channel=0 control=98 value=8"),
        (0, "control_change channel=0 control=6 value=70"),
        (0, "sysex 7F 7F 04 01 00 7F"),
        *note(0, 480, 60),
        (240, "meta lyrics text=la"),
        (240, "aftertouch channel=0 value=9"),
        (240, "polytouch channel=0 note=60 value=9"),
        (480, "meta marker text=B"),
    ]
    score = score_of([sorted(events, key=lambda e: e[0])])
    tuning = tuning_of(score, [5.0])
    encoded = encode(score, tuning, Options(encoding="midi2"))
    report = check(score, encoded, intended=tuning)
    assert report.ok, report.problems
    assert encoded.files[0].extension == ".midi2"


@settings(max_examples=40, deadline=None)
@given(NOTES, MESSAGES, st.sampled_from([0, 1]))
def test_clips_sound_as_wanted(notes, messages, kind):
    """Heard by the check's decoder, which shares no code with the encoder."""
    original, _ = build(notes, messages, kind)
    score = read_score(original)
    tuning = wanted(score, notes)
    encoded = encode(score, tuning, Options(encoding="midi2"))
    report = check(score, encoded, intended=tuning, allowed_error_cents=1e-3)
    assert report.ok, report.problems
    assert encoded.worst_error_cents < 2e-6


@pytest.mark.parametrize("count", [12, 20, 126])
def test_many_equal_keys_each_have_a_number(count):
    """M2-104-UM v1.1.2, appendix C.3: whichever number stands for a note, its pitch is its own."""
    crowd = [note(k, 2000 + k, 60, 0, 1 + k) for k in range(count)]
    chord = in_order(*crowd, note(0, 900, 64), note(0, 900, 67))
    conversion = pipeline.convert(file_of([chord]), Options(encoding="midi2"))
    assert conversion.checked.ok


def test_more_notes_than_numbers_are_refused_in_one_line():
    crowd = in_order(*(note(480 + k, 2000 + k, 60) for k in range(130)))
    message = r"^bar 1, beat 2\.25: more than 128 notes sound at once on a channel.*use another --encoding$"
    with pytest.raises(OptionError, match=message):
        pipeline.convert(file_of([crowd]), Options(encoding="midi2"))
    assert pipeline.convert(file_of([crowd]), Options(encoding="bend")).checked.ok


def test_pressure_of_a_silent_key_is_not_that_of_a_note_that_borrows_its_number():
    """Two C4 sound; the second takes the number of another key, but of none that gets pressure for itself."""
    presses = [
        (300 + k, f"polytouch channel=0 note={key} value={key}") for k, key in enumerate((48, 60, 72, 36, 84))
    ]
    events = in_order(note(0, 900, 60), note(10, 800, 60, 0, 70), note(0, 900, 64), presses)
    conversion = pipeline.convert(file_of([events]), Options(encoding="midi2"))
    sounding = decode(conversion.files[0].data)
    pressed = [(int(e["number"]), int(e["value"])) for e in sounding.events if e["kind"] == KEY_PRESSURE]
    assert sorted(set(pressed)) == [(36, 36), (48, 48), (60, 60), (72, 72), (84, 84)]
    assert pressed.count((60, 60)) == 2  # once for each of the two notes


def test_equal_keys_with_bends_of_their_own_keep_them():
    """Two of one key overlap, more than half a semitone apart by the bend of the channel."""
    bent = [(300, "pitchwheel channel=0 pitch=6000")]
    events = in_order(note(0, 900, 60), bent, note(310, 1000, 60), note(0, 900, 64))
    assert pipeline.convert(file_of([events]), Options(encoding="midi2")).checked.ok


def test_steps_of_an_unknown_parameter_stay_steps_and_others_become_values():
    """M2-104-UM v1.1.2, 7.4.7 and 7.4.8."""
    unknown = [
        (t, f"control_change channel=0 control={c} value={v}")
        for t, c, v in ((0, 99, 1), (0, 98, 8), (5, 96, 0))
    ]
    known = [(t, f"control_change channel=0 control={c} value={v}") for t, c, v in ((9, 6, 64), (9, 97, 0))]
    data = pipeline.convert(
        file_of([[*unknown, *known, *note(10, 900, 60), *note(900, 990, 60)]]), Options(encoding="midi2")
    ).files[0].data  # fmt: skip
    found = words(data)
    assert [w for w in found if w.startswith("4050")] == ["40500108"]
    values = [found[k + 1] for k, w in enumerate(found) if w == "40300108"]
    assert values == [f"{64 << 25:08X}", f"{((64 << 7) - 1) << 18:08X}"]

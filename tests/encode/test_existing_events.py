"""What is already in the file, through a whole conversion and back through the independent decoder.

`convert` raises where a note, event or pitch is not as intended; each test adds what its rule of
docs/existing-events.md says beyond that.
"""

from __future__ import annotations

import numpy as np
import pytest

from retune.check import decode
from retune.check.receiver.sounding import Sounding
from retune.options import ENCODINGS, Options
from retune.pipeline import convert
from tests.encode.build import Event, file_of, in_order, note
from tests.encode.receiver import hear
from tests.score.build import events

CHORDS = ((60, 64, 67), (57, 60, 64), (62, 65, 69), (55, 59, 62), (60, 64, 67))
QUARTER = 480
every_encoding = pytest.mark.parametrize("encoding", ENCODINGS)
EVENTS_OF_FILES = ENCODINGS[:4]  # those that write a Standard MIDI File


def chords(channel: int = 0, length: int = 2 * QUARTER - 1) -> list[Event]:
    """Five chords of two quarters."""
    return in_order(
        *(
            note(2 * QUARTER * k, 2 * QUARTER * k + length, key, channel)
            for k, keys in enumerate(CHORDS)
            for key in keys
        )
    )


def cc(tick: int, number: int, value: int, channel: int = 0) -> Event:
    return tick, f"control_change channel={channel} control={number} value={value}"


def rpn(tick: int, number: int, msb: int, channel: int = 0) -> list[Event]:
    pairs = ((101, 0), (100, number), (6, msb))
    return [cc(tick, control, value, channel) for control, value in pairs]


def retuned(*tracks: list[Event], encoding: str = "bend") -> tuple[bytes, bytes]:
    """A file, and the same retuned."""
    data = file_of(tracks)
    conversion = convert(data, Options(encoding=encoding))
    assert conversion.checked.ok
    return data, conversion.files[0].data


def pitch(sounding: Sounding, index: int, tick: int) -> float:
    """Cents of a note from its key at a tick."""
    rows = sounding.curve[sounding.curve["note"] == index]
    return float(rows["cents"][np.searchsorted(rows["start_tick"], tick, side="right") - 1])


def by_key(sounding: Sounding, onset: int) -> dict[int, int]:
    """Index of the note of each key that starts at a tick."""
    table = sounding.notes
    return {int(table["key"][i]): int(i) for i in np.flatnonzero(table["onset_tick"] == onset)}


def third(data: bytes, onset: int, tick: int, keys: tuple[int, int]) -> float:
    """How far two notes are from their tempered interval [cents]."""
    sounding = decode(data)
    low, high = (by_key(sounding, onset)[key] for key in keys)
    return pitch(sounding, high, tick) - pitch(sounding, low, tick)


PURE_THIRD = pytest.approx(-13.6863, abs=0.03)  # 5/4 against 400 cents


@every_encoding
def test_bend_curves_are_added(encoding):
    curve = [(96 * k, f"pitchwheel channel=0 pitch={500 * k}") for k in range(1, 9)]
    data, out = retuned(sorted(chords() + curve, key=lambda e: e[0]), encoding=encoding)
    before, after = decode(data), decode(out)
    for key in CHORDS[0]:
        old, new = by_key(before, 0)[key], by_key(after, 0)[key]
        moves = [pitch(after, new, t) - pitch(before, old, t) for t in range(0, 900, 48)]
        assert max(moves) - min(moves) < 0.05
    assert third(out, 0, 800, (60, 64)) == PURE_THIRD


@every_encoding
def test_changed_bend_ranges_are_obeyed(encoding):
    own = [*rpn(0, 0, 12), (100, "pitchwheel channel=0 pitch=4096"), *rpn(500, 0, 4)]
    _, out = retuned(sorted(own + chords(), key=lambda e: e[0]), encoding=encoding)
    sounding = decode(out)
    index = by_key(sounding, 0)[60]
    rest = pitch(sounding, index, 0)
    assert pitch(sounding, index, 200) - rest == pytest.approx(600, abs=0.2)
    assert pitch(sounding, index, 600) - rest == pytest.approx(200, abs=0.2)


@every_encoding
def test_controllers_and_portamento_reach_every_channel_of_the_part(encoding):
    """MIDI 1.0 Detailed Specification 4.2.1 p. 16: CC65 switches portamento, CC84 is for the next note-on."""
    own = [cc(0, 65, 127), cc(0, 7, 90), cc(0, 11, 80), cc(959, 84, 64)]
    _, out = retuned(sorted(own + chords(), key=lambda e: e[0]), encoding=encoding)
    sounding = decode(out)
    assert set(sounding.notes["volume"].tolist()) == {90}
    assert set(sounding.notes["expression"].tolist()) == {80}
    if encoding in EVENTS_OF_FILES and encoding != "mpe":
        played = [m for track in events(out) for m in track]
        portamento = {m.channel for m in played if m.is_cc(65)}
        assert portamento == {m.channel for m in played if m.type == "note_on"}
        place = next(k for k, m in enumerate(played) if m.is_cc(84))
        following = next(m for m in played[place:] if m.type == "note_on" and m.velocity)
        assert played[place].channel == following.channel


@pytest.mark.parametrize("encoding", EVENTS_OF_FILES)
@pytest.mark.parametrize("number", [120, 123])
@pytest.mark.parametrize("tick", [700, 6800])
def test_all_notes_off_reaches_every_channel_of_the_part(encoding, number, tick):
    """While a chord sounds, and in the silence behind the last one."""
    _, out = retuned(sorted([*chords(), cc(tick, number, 0)], key=lambda e: e[0]), encoding=encoding)
    played = [m for track in events(out) for m in track]
    silenced = {m.channel for m in played if m.is_cc(number)}
    first_chord = {m.channel for m in [m for m in played if m.type == "note_on"][:3]}
    assert silenced >= (first_chord if encoding != "mpe" else {0})


@every_encoding
def test_reset_all_controllers_leaves_the_tuning(encoding):
    """RP-015: CC121 centres the bend; it has to come back for the notes that sound on."""
    own = [(10, "pitchwheel channel=0 pitch=2000"), cc(400, 121, 0)]
    _, out = retuned(sorted(own + chords(), key=lambda e: e[0]), encoding=encoding)
    assert third(out, 0, 200, (60, 64)) == PURE_THIRD
    assert third(out, 0, 600, (60, 64)) == PURE_THIRD
    sounding = decode(out)
    index = by_key(sounding, 0)[60]
    assert pitch(sounding, index, 600) == pytest.approx(pitch(sounding, index, 0), abs=0.03)


RESETS = {
    "GM": "7E 7F 09 01",  # RP-003 p. 3
    "GM2": "7E 7F 09 03",  # RP-024 4.9
    "GS": "41 10 42 12 40 00 7F 00 41",  # a maker's own; from memory
    "XG": "43 10 4C 00 00 7E 00",  # a maker's own; from memory
}


@every_encoding
@pytest.mark.parametrize("reset", RESETS)
def test_device_resets_in_the_middle(encoding, reset):
    """General MIDI 1 p. 3: a reset puts bend and range back; notes after it are in tune all the same."""
    own = [*rpn(0, 0, 12), (0, "pitchwheel channel=0 pitch=100"), (1919, f"sysex {RESETS[reset]}")]
    _, out = retuned(sorted(own + chords(length=900), key=lambda e: e[0]), encoding=encoding)
    for onset in (0, 3840):  # to a step of range 12, which the input asks for
        assert third(out, onset, onset + 100, (60, 64)) == pytest.approx(-13.6863, abs=0.147)


@every_encoding
def test_program_change_under_sounding_notes(encoding):
    """General MIDI 2 3.2: sounding notes keep their program, later ones have the new one on every channel."""
    own = [(0, "program_change channel=0 program=19"), (1200, "program_change channel=0 program=52")]
    _, out = retuned(sorted(own + chords(), key=lambda e: e[0]), encoding=encoding)
    notes = decode(out).notes
    assert set(notes["program"][notes["onset_tick"] < 1200].tolist()) == {19}
    assert set(notes["program"][notes["onset_tick"] > 1200].tolist()) == {52}


@every_encoding
@pytest.mark.parametrize("pedal", [64, 66])
def test_pedals_held_over_changes(encoding, pedal):
    """Notes end with the pedal, as in the input, and are in tune until then."""
    own = [cc(100, pedal, 127), cc(1400, pedal, 0)]
    data, out = retuned(sorted(own + chords(), key=lambda e: e[0]), encoding=encoding)
    before, after = decode(data), decode(out)
    for key in CHORDS[0]:
        ends = [int(s.notes["sounding_end_tick"][by_key(s, 0)[key]]) for s in (before, after)]
        assert ends == [1400, 1400]
    assert third(out, 0, 1390, (60, 64)) == PURE_THIRD


@pytest.mark.parametrize("encoding", EVENTS_OF_FILES)
def test_soft_pedal_reaches_every_note(encoding):
    """CC67: every channel of the part has it before its notes; in MPE the manager (M1-100-UM v1.1, 2.3.1)."""
    _, out = retuned(sorted([cc(0, 67, 127), *chords()], key=lambda e: e[0]), encoding=encoding)
    played = [m for track in events(out) for m in track]
    soft = {m.channel for m in played if m.is_cc(67)}
    used = {m.channel for m in played if m.type == "note_on"}
    assert soft == {0} if encoding == "mpe" else soft >= used


@pytest.mark.parametrize("encoding", EVENTS_OF_FILES)
@pytest.mark.parametrize(
    ("channel", "setup"),
    [(9, []), (10, [cc(0, 0, 120, 10), (0, "program_change channel=10 program=0")])],
)
def test_drums_stay_as_they_are(encoding, channel, setup):
    """General MIDI 1 p. 2: channel 10; General MIDI 2 (RP-024): any channel with rhythm bank 120."""
    drums = [*setup, *in_order(*(note(240 * k, 240 * k + 100, 36 + k % 5, channel) for k in range(16)))]
    data, out = retuned(chords(), drums, encoding=encoding)
    played, original = events(out)[1], events(data)[1]
    if encoding == "mpe" and channel != 9:  # it may make room for a zone
        new = {m.channel for m in played if m.type == "note_on"}.pop()
        original = [m.copy(channel=new) if hasattr(m, "channel") else m for m in original]
    assert played == original
    drummed = {m.channel for m in played if m.type == "note_on"}
    assert drummed.isdisjoint(m.channel for m in events(out)[0] if m.type == "note_on")
    assert third(out, 0, 100, (60, 64)) == PURE_THIRD


@every_encoding
def test_unison_doublings_on_one_channel(encoding):
    """Two tracks of one channel play the same keys; each note keeps its own release, and both one pitch."""
    second = in_order(*(note(960 * k, 960 * k + 500, keys[0], 0, 50) for k, keys in enumerate(CHORDS)))
    data, out = retuned(chords(), second, encoding=encoding)
    after = decode(out)
    assert len(after.notes) == len(decode(data).notes)
    for k, keys in enumerate(CHORDS):
        same = [
            i
            for i in np.flatnonzero(after.notes["onset_tick"] == 960 * k).tolist()
            if after.notes["key"][i] == keys[0] or encoding == "midi2"
        ]
        low = min(pitch(after, i, 960 * k) + 100 * int(after.notes["key"][i]) for i in same)
        unison = [
            i for i in same if abs(pitch(after, i, 960 * k) + 100 * int(after.notes["key"][i]) - low) < 0.1
        ]
        assert sorted(after.notes["release_tick"][unison].tolist()) == [960 * k + 500, 960 * k + 959]


@every_encoding
def test_overlapping_notes_of_one_key(encoding):
    """The older ends first (first in, first out), and none is cut short by the other's release."""
    overlap = [*note(0, 700, 72), *note(350, 1300, 72)]
    _, out = retuned(sorted(chords() + overlap, key=lambda e: e[0]), encoding=encoding)
    notes = decode(out).notes
    lengths = {
        (int(n["onset_tick"]), int(n["release_tick"]))
        for n in notes
        if n["onset_tick"] in (0, 350) and n["release_tick"] in (700, 1300)
    }
    assert lengths == {(0, 700), (350, 1300)}


@every_encoding
def test_notes_of_no_length(encoding):
    events_ = sorted([*chords(), *note(480, 480, 76)], key=lambda e: e[0])
    _, out = retuned(events_, encoding=encoding)
    notes = decode(out).notes
    assert int(((notes["onset_tick"] == 480) & (notes["release_tick"] == 480)).sum()) == 1


@every_encoding
def test_notes_never_released_get_a_release(encoding):
    hanging = (960, "note_on channel=0 note=76 velocity=70")
    data = file_of([sorted([*chords(), hanging], key=lambda e: e[0])])
    conversion = convert(data, Options(encoding=encoding))
    assert "unreleased" in {remark.code for remark in conversion.remarks}
    out = conversion.files[0].data
    assert not decode(out).remarks
    if encoding in EVENTS_OF_FILES:
        played = [m for track in events(out) for m in track]
        assert sum(m.type == "note_on" for m in played) == sum(m.type == "note_off" for m in played)


@every_encoding
def test_mono_mode_keeps_one_channel(encoding):
    """CC126: legato needs one channel (MIDI 1.0 Detailed Specification 4.2.1 p. 20)."""
    line = [cc(0, 126, 1, 1), *in_order(*(note(240 * k, 240 * k + 250, 72 + k % 3, 1) for k in range(16)))]
    _, out = retuned(chords(), sorted(line, key=lambda e: e[0]), encoding=encoding)
    if encoding in EVENTS_OF_FILES and encoding != "mpe":
        assert {m.channel for m in events(out)[1] if m.type == "note_on"} == {1}
    assert len(decode(out).notes) == 31


def mpe_input(*, says_range: bool) -> list[Event]:
    """A Lower zone of three members that bend 300 cents at range 48."""
    result = rpn(0, 6, 3)
    for member in (1, 2, 3) if says_range else ():
        result += rpn(0, 0, 48, member)
    for k, keys in enumerate(CHORDS):
        for member, key in enumerate(keys, start=1):
            result += note(960 * k, 960 * k + 900, key, member)
            result.append((960 * k + 400, f"pitchwheel channel={member} pitch=512"))
            result.append((960 * k + 950, f"pitchwheel channel={member} pitch=0"))
    return sorted(result, key=lambda e: e[0])


@every_encoding
def test_mpe_input_that_says_its_range_keeps_its_bends(encoding):
    data, out = retuned(mpe_input(says_range=True), encoding=encoding)
    before, after = decode(data), decode(out)
    old, new = by_key(before, 0)[60], by_key(after, 0)[60]
    assert pitch(before, old, 500) == pytest.approx(300, abs=0.1)
    assert pitch(after, new, 500) - pitch(after, new, 100) == pytest.approx(300, abs=0.4)
    assert third(out, 0, 500, (60, 64)) == pytest.approx(-13.6863, abs=0.6)


@every_encoding
def test_mpe_input_that_leaves_its_range_to_the_zone_keeps_its_bends(encoding):
    """M1-100-UM v1.1, 2.2.5: members then have 48 semitones. Written out, they hold for any receiver."""
    _, out = retuned(mpe_input(says_range=False), encoding=encoding)
    after = decode(out)
    new = by_key(after, 0)[60]
    assert pitch(after, new, 500) - pitch(after, new, 100) == pytest.approx(300, abs=0.4)
    assert third(out, 0, 500, (60, 64)) == pytest.approx(-13.6863, abs=0.6)
    if encoding == "bend":
        first = {heard.key: heard.state.range for heard in hear(out) if heard.on == 0}
        assert set(first.values()) == {4.0}  # as wide as need be: 48 has coarse steps, and some stop at 24


def zone_with_a_manager(members: int, *, upper: bool = False) -> list[Event]:
    """A zone whose manager chooses the program, holds the pedal, sets controllers and bends."""
    manager, first, step = (15, 14, -1) if upper else (0, 1, 1)
    result = [
        cc(0, 7, 80, manager),
        (0, f"program_change channel={manager} program=41"),
        *rpn(0, 6, members, manager),
        cc(0, 11, 70, manager),
        cc(100, 64, 127, manager),
        cc(1900, 64, 0, manager),
        (1000, f"program_change channel={manager} program=42"),
        cc(3000, 121, 0, manager),
    ]
    result += [(2000 + 50 * k, f"pitchwheel channel={manager} pitch={400 * k}") for k in range(18)]
    for k, keys in enumerate(CHORDS):
        for n, key in enumerate(keys):
            member = first + step * ((3 * k + n) % members)
            result.append((960 * k, f"pitchwheel channel={member} pitch={20 * n}"))
            result += note(960 * k, 960 * k + 900, key, member)
    return sorted(result, key=lambda e: e[0])


@every_encoding
@pytest.mark.parametrize(("members", "upper"), [(15, False), (14, True), (4, False)])
def test_a_zone_of_the_input_is_heard_without_one(encoding, members, upper):
    """M1-100-UM v1.1, 2.3.1 and C.1: programs, controllers, pedals and bends of the manager are for all members."""
    data, out = retuned(zone_with_a_manager(members, upper=upper), encoding=encoding)
    before, after = decode(data), decode(out)
    assert set(after.notes["program"].tolist()) == {41, 42}
    assert set(after.notes["volume"].tolist()) == {80}
    assert not after.notes[
        "percussion"
    ].any()  # channel 10 was a member, and is a drum channel without a zone
    for k, keys in enumerate(CHORDS):
        for key in keys:
            old, new = by_key(before, 960 * k)[key], by_key(after, 960 * k)[key]
            moved_ = [pitch(after, new, 960 * k + t) - pitch(before, old, 960 * k + t) for t in (0, 300, 800)]
            assert moved_ == pytest.approx([moved_[0]] * 3, abs=0.7)  # two steps of range 48


@every_encoding
def test_a_zone_that_ends_leaves_channels_as_they_were_told(encoding):
    """M1-100-UM v1.1, 2.2.3: without its zone a channel has its own program and volume, and a range of 2."""
    own = [(0, "program_change channel=1 program=5"), cc(0, 7, 60, 1)]
    zone = [*rpn(10, 6, 3), (20, "program_change channel=0 program=41"), cc(20, 7, 99), *rpn(900, 6, 0)]
    line = [*note(100, 800, 60, 1), *note(960, 1800, 62, 1), (1000, "pitchwheel channel=1 pitch=4096")]
    _, out = retuned(sorted([*own, *zone, *line], key=lambda e: e[0]), encoding=encoding)
    notes = decode(out).notes
    assert notes["program"].tolist() == [41, 5]
    assert notes["volume"].tolist() == [99, 60]


SINGLE_NOTE = "7F 7F 08 02 00 01 40 40 20 00"  # key 64 up by 25 cents
OTHER_PROGRAM = "7F 7F 08 02 05 01 40 40 20 00"  # the same in program 5, which nobody chooses
OCTAVE = "7F 7F 08 08 03 7F 7F 40 40 40 40 50 40 40 40 40 40 40 40"  # every E up by 16 cents
OCTAVE_LATER = "7E" + OCTAVE[2:]  # notes that sound already stay
OF_ONE_CHANNEL = "7F 7F 08 08 00 00 02" + OCTAVE[20:]  # channel 2, where nothing plays


@every_encoding
@pytest.mark.parametrize(
    ("tick", "sysex", "cents"),
    [
        (0, SINGLE_NOTE, 25.0),
        (0, OTHER_PROGRAM, 0.0),
        (0, OCTAVE, 16.0),
        (0, OCTAVE_LATER, 16.0),
        (0, OF_ONE_CHANNEL, 0.0),
        (500, SINGLE_NOTE, 0.0),
    ],
)
def test_tuning_messages_of_the_input_are_part_of_the_tuning(encoding, tick, sysex, cents):
    """MIDI Tuning Updated Specification pp. 2 and 7-8: what they do to a note is done by the encoding's own means."""
    data = file_of([sorted([(tick, f"sysex {sysex}"), *chords()], key=lambda e: e[0])])
    out = convert(data, Options(encoding=encoding)).files[0].data
    plain = convert(file_of([chords()]), Options(encoding=encoding)).files[0].data
    with_it, without = (decode(d) for d in (out, plain))
    moved_ = pitch(with_it, by_key(with_it, 0)[64], 10) - pitch(without, by_key(without, 0)[64], 10)
    assert moved_ == pytest.approx(cents, abs=0.05)
    if tick:
        moved_ = pitch(with_it, by_key(with_it, 0)[64], 600) - pitch(without, by_key(without, 0)[64], 600)
        assert moved_ == pytest.approx(25.0, abs=0.05)


@pytest.mark.parametrize("first", EVENTS_OF_FILES)
@every_encoding
def test_what_one_encoding_wrote_is_input_for_every_other(first, encoding):
    """The tuning of the first conversion stays, and that of the second is added: `convert` proves it."""
    _, out = retuned(chords(), chords(1), encoding=first)
    assert convert(out, Options(encoding=encoding)).checked.ok


@every_encoding
def test_a_range_changed_in_steps_is_written_out(encoding):
    """CC96 steps the parameter chosen (MIDI 1.0 Detailed Specification 4.2.1 p. 12), here by 50 cents of range."""
    steps = [cc(0, 101, 0), cc(0, 100, 0), *[cc(0, 96, 0)] * 50]
    own = [*steps, (100, "pitchwheel channel=0 pitch=8000")]
    data, out = retuned(sorted(own + chords(), key=lambda e: e[0]), encoding=encoding)
    sounding = decode(out)
    index = by_key(sounding, 0)[60]
    expected = pitch(decode(data), by_key(decode(data), 0)[60], 200)
    assert expected == pytest.approx(8000 / 8192 * 250, abs=0.01)
    assert pitch(sounding, index, 200) - pitch(sounding, index, 0) == pytest.approx(expected, abs=0.1)
    if encoding != "midi2":
        assert not any(m.is_cc(96) for track in events(out) for m in track)

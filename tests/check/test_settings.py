"""Volume, pan, expression and sustain in force at each note, and what was put into a file."""

from __future__ import annotations

import functools

import mido
import pytest

from retune.check import check, decode
from retune.check.receiver.in_force import PRESSURE_OF_CHANNEL, PRESSURE_OF_NOTE
from retune.options import ENCODINGS, Options
from retune.pipeline import Conversion, convert
from tests.check.build import smf
from tests.check.music import edited

SETTINGS = ("volume", "pan", "expression", "sustain")


def chord(keys: list[int]) -> str:
    """Two quarters of a chord on channel 1."""
    begin = "".join(f" 00 90 {key:02X} 50" for key in keys)
    return begin + "".join(f" {'00' if k else '87 40'} 80 {key:02X} 40" for k, key in enumerate(keys))


CHORDS = "".join(map(chord, ([60, 64, 67], [57, 60, 64], [62, 65, 69], [55, 59, 62], [60, 64, 67])))
SET = "00 B0 07 14 00 B0 0A 15 00 B0 0B 16"


@functools.cache
def conversion(encoding: str = "bend") -> tuple[bytes, Conversion]:
    original = smf(f"{SET}{CHORDS} 00 B0 07 5A 00 B0 40 7F{CHORDS} 00 B0 40 00")
    return original, convert(original, Options(encoding=encoding))


def settings_of(events: str) -> list[tuple[int, ...]]:
    notes = decode(smf(events)).notes
    return [tuple(int(row[name]) for name in SETTINGS) for row in notes]


def test_settings_at_the_note_on() -> None:
    """Starting values 100, 64, 127: GM2 RP-024 3.3; CC121 sets back expression and pedal alone: RP-015."""
    note = "00 90 3C 40 10 80 3C 40"
    assert settings_of(note) == [(100, 64, 127, 0)]
    assert settings_of(f"{SET} 00 B0 40 40 {note}") == [(20, 21, 22, 1)]
    assert settings_of(f"{SET} 00 B0 40 40 00 B0 79 00 {note}") == [(20, 21, 127, 0)]
    assert settings_of(f"{SET} 00 F0 05 7E 7F 09 01 F7 {note}") == [(100, 64, 127, 0)]
    assert settings_of(f"{note} {SET}") == [(100, 64, 127, 0)]
    zone = "00 B0 65 00 00 B0 64 06 00 B0 06 05"  # MPE 2.2.1: members 2 to 6
    member = "00 91 3C 40 10 81 3C 40"
    assert settings_of(f"{zone} {SET} {member}") == [
        (20, 21, 22, 0)
    ]  # MPE 2.3: the manager's hold for the zone
    assert settings_of(f"{zone} {SET} 00 B1 07 07 {member}") == [(7, 21, 22, 0)]


def test_a_bank_is_in_force_with_the_program_that_was_chosen_in_it() -> None:
    """MIDI 1.0 Detailed Specification 4.2.1 p. 13: a bank waits for its program, which may be the first."""
    note = "00 90 3C 40 10 80 3C 40"
    bank = "00 B0 00 01 00 B0 20 02"
    told = [decode(smf(f"{bank} {program} {note}")).in_force for program in ("", "00 C0 00", "00 C0 05")]
    assert [rows["value"].tolist() for rows in told] == [[], [1 << 14 | 2 << 7], [1 << 14 | 2 << 7 | 5]]


def test_controller_121_takes_pressure_off_sounding_keys() -> None:
    """RP-015: key pressure and channel pressure go back to 0."""
    events = "00 90 3C 40 00 90 40 40 10 A0 3C 32 00 D0 21 10 B0 79 00 10 A0 40 14 10 80 3C 40 00 80 40 40"
    rows = decode(smf(events)).in_force
    told = [tuple(row) for row in rows[["note", "code", "tick", "value"]].tolist()]
    keys, channel = (
        [row for row in told if row[1] == code] for code in (PRESSURE_OF_NOTE, PRESSURE_OF_CHANNEL)
    )
    assert [(note, tick, value) for note, _, tick, value in keys] == [(0, 16, 50), (0, 32, 0), (1, 48, 20)]
    assert [(note, tick, value) for note, _, tick, value in channel] == [
        (note, tick, value) for note in (0, 1) for tick, value in ((16, 33), (32, 0))
    ]


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_every_encoding_keeps_the_settings(encoding: str) -> None:
    assert conversion(encoding)[1].checked.fidelity.controllers_changed == 0


@pytest.mark.parametrize(
    ("number", "name"), [(7, "volume"), (10, "pan"), (11, "expression"), (64, "sustain pedal")]
)
def test_copies_left_out_on_other_channels_are_found(number: int, name: str) -> None:
    def change(_: int, track: mido.MidiTrack) -> list[mido.Message]:
        return [m for m in track if not (m.is_cc(number) and m.channel != 0)]

    original, converted = conversion()
    report = check(original, edited(converted.files[0].data, change), intended=converted.tuning)
    assert report.fidelity.controllers_changed > 0
    assert f"another {name}" in report.problems[0]


def with_event(data: bytes, message: mido.Message | mido.MetaMessage) -> bytes:
    """The file with a message at its time in the first track."""

    def change(number: int, track: mido.MidiTrack) -> list[mido.Message]:
        return sorted([*track, *([message] if number == 0 else [])], key=lambda m: m.time)

    return edited(data, change)


ADDED = [
    mido.MetaMessage("set_tempo", tempo=250000, time=1),
    mido.MetaMessage("time_signature", numerator=3, denominator=4, time=1),
    mido.MetaMessage("key_signature", key="D", time=1),
    mido.MetaMessage("lyrics", text="la", time=1),
    mido.Message("sysex", data=(0x7F, 0x7F, 4, 1, 0, 0), time=1),  # master volume 0: MIDI 1.0 p. 57
    mido.Message("control_change", channel=3, control=1, value=90, time=1),
    mido.Message("control_change", control=120, value=0, time=20000),
    mido.Message("program_change", channel=2, program=9, time=20000),
    mido.Message("aftertouch", channel=2, value=9, time=1),
    mido.Message("polytouch", channel=2, note=60, value=9, time=1),
]


@pytest.mark.parametrize("message", ADDED, ids=lambda message: message.type)
def test_what_was_put_in_is_found(message: mido.Message) -> None:
    original, converted = conversion()
    report = check(original, with_event(converted.files[0].data, message), intended=converted.tuning)
    assert report.fidelity.events_added == 1
    assert "not in the original" in report.problems[0]


def test_tuning_and_values_in_force_may_be_put_in() -> None:
    """Master tuning: CA-025. Controllers 7 and 10 are 20 and 21 from the start; modulation rests at 0."""
    original, _ = conversion()
    for message in (
        mido.Message("sysex", data=(0x7F, 0x7F, 4, 3, 1, 0x40), time=1),
        mido.Message("control_change", channel=3, control=7, value=20, time=1),
        mido.Message("control_change", channel=3, control=10, value=21, time=7000),
        mido.Message("control_change", channel=3, control=1, value=0, time=7000),
        mido.Message("program_change", channel=2, program=0, time=7000),
    ):
        assert check(original, with_event(original, message)).problems == ()


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_no_encoding_adds_events(encoding: str) -> None:
    assert conversion(encoding)[1].checked.fidelity.events_added == 0


def test_reset_may_be_repeated_at_its_tick_for_a_further_port() -> None:
    reset = mido.Message("sysex", data=(0x7E, 0x7F, 9, 1))
    original = with_event(smf(CHORDS), reset.copy(time=1920))
    assert check(original, with_event(original, reset.copy(time=1920))).problems == ()
    assert check(original, with_event(original, reset.copy(time=1921))).fidelity.events_added == 1

"""Sysex in pieces and raw bytes (Standard MIDI Files 1.0, 2.3), alone and through a whole conversion to a clip."""

from __future__ import annotations

import struct

import pytest

from retune.check import decode
from retune.encode.survey.raw_bytes import RawBytes, system_messages
from retune.options import ENCODINGS, Options
from retune.pipeline import Conversion, convert
from retune.score.packets import SysexPacket
from tests.encode.build import file_of, in_order, note

PIECES = ("00 F0 03 43 12 00", "60 F7 06 43 12 00 43 12 00", "64 F7 04 43 12 00 F7")  # the example of SMF 2.3
WHOLE = ("sysex", bytes.fromhex("43 12 00 43 12 00 43 12 00 43 12 00"))


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ("F0 43 12 F7", ["F0 43 12 F7"]),
        ("FA", ["FA"]),  # start
        ("F2 01 02 F8", ["F2 01 02", "F8"]),  # song position, clock
        ("F0 F7 F0 01 F7", ["F0 F7", "F0 01 F7"]),
        ("", []),
        ("F2 01", None),  # cut short
        ("F0 43", None),
        ("90 3C 40", None),  # no system message
        ("F4", None),  # not defined
        ("F0 43 90 F7", None),
    ],
)
def test_system_messages(content, expected):
    """MIDI 1.0 Detailed Specification 4.2.1, tables V to VII."""
    found = system_messages(bytes.fromhex(content))
    assert found == (None if expected is None else [bytes.fromhex(piece) for piece in expected])


def test_pieces_of_two_tracks_are_kept_apart():
    left_out: list[str] = []
    raw = RawBytes(left_out.append)
    assert raw.take(0, SysexPacket(0xF0, b"\x01")) == []
    assert raw.take(1, SysexPacket(0xF0, b"\x02")) == []
    assert raw.take(0, SysexPacket(0xF7, b"\x03\xf7")) == [b"\xf0\x01\x03\xf7"]
    assert raw.take(1, SysexPacket(0xF7, b"\x04")) == []
    raw.end()
    assert left_out == ["unfinished sysex"]


def with_events(*raw: str, encoding: str = "midi2") -> Conversion:
    """Conversion of a chord, and a second track of raw events."""
    music = file_of([in_order(note(0, 959, 60), note(0, 959, 64), note(0, 959, 67))])
    track = bytes.fromhex("".join(raw)) + b"\x00\xff\x2f\x00"
    data = music[:10] + struct.pack(">H", 2) + music[12:] + b"MTrk" + struct.pack(">I", len(track)) + track
    return convert(data, Options(encoding=encoding))


def stored(conversion: Conversion) -> list[tuple[int, tuple[object, ...]]]:
    """What a receiver gets besides notes, tempo and meter."""
    found = decode(conversion.files[0].data).stored.rows()
    return [(t, content) for t, _, content in found if content[0] not in ("set_tempo", "time_signature")]


def test_a_sysex_in_pieces_is_sent_whole_when_it_is_complete():
    conversion = with_events(*PIECES)
    assert stored(conversion) == [(0x60 + 0x64, WHOLE)]
    assert conversion.remarks == ()


@pytest.mark.parametrize(
    ("event", "content"),
    [
        ("00 F7 01 FA", ("system message", b"\xfa")),
        ("00 F7 03 F2 01 02", ("system message", b"\xf2\1\2")),
        ("00 F7 02 F3 05", ("system message", b"\xf3\5")),
        ("00 F7 04 F0 43 12 F7", ("sysex", b"\x43\x12")),
    ],
)
def test_escapes_become_messages(event, content):
    """M2-104-UM v1.1.2, 7.6: system messages have packets of their own."""
    assert stored(with_events(event)) == [(0, content)]


@pytest.mark.parametrize(
    ("events", "what"),
    [
        (("00 F7 03 90 3C 40",), "raw byte events; 1 left out"),
        (("00 F0 03 43 12 00",), "unfinished sysex events; 1 left out"),
        (("00 F0 02 43 12", "00 F0 03 43 13 F7"), "unfinished sysex events; 1 left out"),
    ],
)
def test_what_has_no_place_is_left_out_with_a_remark(events, what):
    conversion = with_events(*events)
    assert [(r.code, r.message.partition("for ")[2]) for r in conversion.remarks] == [("not-in-clip", what)]


@pytest.mark.parametrize("encoding", [e for e in ENCODINGS if e != "midi2"])
def test_files_keep_them_as_they_are(encoding):
    """Byte for byte, at their ticks."""
    data = with_events(*PIECES, "00 F7 03 90 3C 40", encoding=encoding).files[0].data
    assert bytes.fromhex("".join(PIECES)) + bytes.fromhex("00 F7 03 90 3C 40") in data

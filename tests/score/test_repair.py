"""Damaged files: every kind of damage seen in the wild is played as a player would, with a remark, or refused.

The bytes of each case are in hex; `90 3C 40` is a note-on of middle C, `80 3C 40` its release (MIDI 1.0 p. 10).
Rules of the format: Standard MIDI Files 1.0 (RP-001).
"""

from __future__ import annotations

import pytest

from retune.errors import InputError
from retune.score import read_score
from retune.score.events import TrackWalk, Walk
from retune.score.repair import repair
from tests.score.build import END, chunk, codes, header, notes, smf, write

NOTE = bytes.fromhex("00 90 3C 40  60 80 3C 40")  # C for 96 ticks
OTHER = bytes.fromhex("00 91 40 40  60 81 40 40")  # E on channel 2
PLAYED = [(0, 96, 60)]
BOTH = [(0, 96, 60), (0, 96, 64)]


def test_sound_file_is_left_alone() -> None:
    data = smf(NOTE, OTHER)
    repaired = repair(data)
    assert [b"".join(track) for track in repaired.tracks] == [NOTE + END, OTHER + END]
    assert repaired.remarks == []


CHUNKS = {
    "unknown chunk before the tracks (SMF 1.3)": (
        header(1) + chunk(b"XFIH", b"\x00\x01\x02") + chunk(b"MTrk", NOTE + END),
        PLAYED,
        ["chunk"],
    ),
    "unknown chunk between the tracks": (
        header(2) + chunk(b"MTrk", NOTE + END) + chunk(b"junk", b"") + chunk(b"MTrk", OTHER + END),
        BOTH,
        ["chunk"],
    ),
    "junk after the last track": (smf(NOTE) + b"\x00\x00\x1aend", PLAYED, ["junk"]),
    "header of 8 bytes (SMF 2.1: honour the length)": (
        chunk(b"MThd", bytes.fromhex("0000 0001 01E0 ABCD")) + chunk(b"MTrk", NOTE + END),
        PLAYED,
        ["header-length"],
    ),
    "header that states 8 bytes and has 6": (
        chunk(b"MThd", bytes.fromhex("0000 0001 01E0"), 8) + chunk(b"MTrk", NOTE + END),
        PLAYED,
        ["header-length"],
    ),
    "header that states 0 bytes": (
        chunk(b"MThd", bytes.fromhex("0000 0001 01E0"), 0) + chunk(b"MTrk", NOTE + END),
        PLAYED,
        ["header-length"],
    ),
    "RIFF wrapper, with a chunk of sound data after the file": (
        b"RIFF\x00\x00\x00\x00RMID"
        + b"INFO\x03\x00\x00\x00abc\x00"  # odd: padded
        + b"data" + len(smf(NOTE)).to_bytes(4, "little") + smf(NOTE)
        + b"DLS \x04\x00\x00\x00MTrk",
        PLAYED,
        ["riff"],
    ),
    "128 bytes in front": (b"\x00" * 128 + smf(NOTE), PLAYED, ["bytes-in-front"]),
    "more tracks stated than present": (header(5) + chunk(b"MTrk", NOTE + END), PLAYED, ["track-count"]),
    "fewer tracks stated than present": (
        header(1) + chunk(b"MTrk", NOTE + END) + chunk(b"MTrk", OTHER + END), BOTH, ["track-count"],
    ),
    "65535 tracks stated": (header(65535) + chunk(b"MTrk", NOTE + END), PLAYED, ["track-count"]),
    "format 0 with two tracks": (smf(NOTE, OTHER, format_=0), BOTH, ["format"]),
    "format 7": (smf(NOTE, OTHER, format_=7), BOTH, ["format"]),
}  # fmt: skip

LENGTHS = {
    "no end of track, length right": (
        header(2) + chunk(b"MTrk", NOTE) + chunk(b"MTrk", OTHER), BOTH, ["no-end-of-track"] * 2,
    ),
    "10 too long, at the end of the file": (
        header(1) + chunk(b"MTrk", NOTE + END, len(NOTE) + 14), PLAYED, ["track-length"],
    ),
    "10 too long, another track follows": (
        header(2) + chunk(b"MTrk", NOTE + END, len(NOTE) + 14) + chunk(b"MTrk", OTHER + END),
        BOTH,
        ["track-length"],
    ),
    "too long by just the next track": (
        header(2) + chunk(b"MTrk", NOTE + END, len(NOTE) + len(OTHER) + 16) + chunk(b"MTrk", OTHER + END),
        BOTH,
        ["track-length"],
    ),
    "too long and no end of track": (
        header(2) + chunk(b"MTrk", NOTE, 4000) + chunk(b"MTrk", OTHER + END),
        BOTH,
        ["no-end-of-track", "track-length"],
    ),
    "4 GB stated": (header(1) + chunk(b"MTrk", NOTE + END, 0xFFFFFFFF), PLAYED, ["track-length"]),
    "short by just the end of track": (
        header(2) + chunk(b"MTrk", NOTE + END, len(NOTE)) + chunk(b"MTrk", OTHER + END), BOTH, ["track-length"],
    ),
    "short inside an event": (
        header(2) + chunk(b"MTrk", NOTE + END, len(NOTE) - 1) + chunk(b"MTrk", OTHER + END),
        BOTH,
        ["track-length"],
    ),
    "0 stated": (header(1) + chunk(b"MTrk", NOTE + END, 0), PLAYED, ["track-length"]),
    "junk after a track of right length": (
        header(2) + chunk(b"MTrk", NOTE + END) + b"\x00\x01" + chunk(b"MTrk", OTHER + END), BOTH, ["junk"],
    ),
    "events after the end of track": (
        header(2) + chunk(b"MTrk", NOTE + END + OTHER + END) + chunk(b"MTrk", OTHER + END),
        BOTH,
        ["after-end"],
    ),
}  # fmt: skip

EVENTS = {
    "running status kept across a meta event": (
        "00 90 3C 40  00 FF 01 01 61  60 3C 00", PLAYED, ["running-status"],
    ),
    "running status kept across a sysex": (
        "00 90 3C 40  00 F0 02 01 F7  60 3C 00", PLAYED, ["running-status"],
    ),
    "running status within one clean stretch, then kept across a meta event": (
        "00 C1 05  00 90 3C 40  00 40 40  00 FF 01 00  60 3C 00  00 40 00", BOTH, ["running-status"],
    ),
    "data byte above 127": ("00 90 3C 80  60 80 3C 40", PLAYED, ["data-byte"]),
    "key above 127": ("00 90 3C 40  10 90 8C 40  50 80 3C 40", PLAYED, ["bad-key"]),
    "running status after a key above 127": ("00 80 10 10  00 90 8C 40  00 3C 40  60 3C 00", PLAYED, ["bad-key"]),
    "real-time byte as an event": ("00 90 3C 40  10 F8  50 80 3C 40", PLAYED, ["stray-status"]),
    "system common as an event": ("00 90 3C 40  10 F2 01 02  50 80 3C 40", PLAYED, ["stray-status"]),
    "real-time byte, running status goes on": ("00 90 3C 40  10 FE  50 3C 00", PLAYED, ["stray-status"]),
    "data bytes before any status": ("00 01 02  00 90 3C 40  60 80 3C 40", PLAYED, ["stray-data"]),
    "data bytes before any status, long delta time": (
        "00 01 02  81 00 90 3C 40  60 80 3C 40", [(128, 224, 60)], ["stray-data"],
    ),
    "delta time of five bytes": ("00 90 3C 40  60 80 3C 40  81 80 80 80 00 B0 07 40", PLAYED, ["long-delta"]),
    "key signature of 8 sharps": ("00 FF 59 02 08 00  00 90 3C 40  60 80 3C 40", PLAYED, ["odd-meta"]),
    "key signature with mode 5": ("00 FF 59 02 00 05  00 90 3C 40  60 80 3C 40", PLAYED, ["odd-meta"]),
    "tempo of two bytes": ("00 FF 51 02 07 A1  00 90 3C 40  60 80 3C 40", PLAYED, ["odd-meta"]),
    "tempo of 0": ("00 FF 51 03 00 00 00  00 90 3C 40  60 80 3C 40", PLAYED, ["odd-meta"]),
    "meter of 0 beats": ("00 FF 58 04 00 02 18 08  00 90 3C 40  60 80 3C 40", PLAYED, ["odd-meta"]),
    "meta event of type 128": ("00 90 3C 40  10 FF 80 01 00  50 80 3C 40", PLAYED, ["bad-meta"]),
    "end of track with data": ("00 90 3C 40  60 80 3C 40  00 FF 2F 01 00", PLAYED, ["after-end"]),
    "note never released": ("00 90 3C 40  60 B0 07 40", PLAYED, ["unreleased"]),
}  # fmt: skip


@pytest.mark.parametrize(
    ("data", "played", "remarks"), [*CHUNKS.values(), *LENGTHS.values()], ids=[*CHUNKS, *LENGTHS]
)
def test_damaged_chunks(data: bytes, played: list[tuple[int, int, int]], remarks: list[str]) -> None:
    assert notes(data) == played
    assert codes(data) == remarks


@pytest.mark.parametrize(("track", "played", "remarks"), EVENTS.values(), ids=EVENTS)
def test_damaged_events(track: str, played: list[tuple[int, int, int]], remarks: list[str]) -> None:
    assert notes(smf(track)) == played
    assert codes(smf(track)) == remarks


@pytest.mark.parametrize("data", [case[0] for case in [*CHUNKS.values(), *LENGTHS.values()]])
def test_mended_file_needs_no_second_mending(data: bytes) -> None:
    once = write(read_score(data))
    assert codes(once) == []
    assert write(read_score(once)) == once


@pytest.mark.parametrize("cut", range(1, len(NOTE)))
def test_truncated_file_keeps_what_can_be_played(cut: int) -> None:
    """A copy that broke off: the first track is whole, the second is cut at every possible place."""
    whole = header(2) + chunk(b"MTrk", NOTE + END) + chunk(b"MTrk", OTHER + END)
    data = whole[: len(whole) - len(END) - cut]
    found = notes(data)
    assert found[0] == (0, 96, 60)
    if cut < 5:  # the release is cut, the note-on is there
        assert [key for _, _, key in found] == [60, 64]
    assert {"truncated", "no-end-of-track"} & set(codes(data))


def test_delta_time_padded_with_zeros_is_read() -> None:
    """Five bytes, but a value the standard allows."""
    data = smf("80 80 80 80 10 90 3C 40  60 80 3C 40")
    assert notes(data) == [(16, 112, 60)]
    assert codes(data) == []


def test_remark_names_track_and_byte() -> None:
    data = smf(NOTE, "00 91 40 40  60 81 40 85")
    (remark,) = read_score(data).remarks
    at = data.index(bytes.fromhex("60 81 40 85"))
    assert remark.where == f"track 2, byte {at}"
    assert str(remark) == f"track 2, byte {at}: a value above 127 was set to 127"


def test_many_mends_of_one_kind_are_one_remark() -> None:
    (remark,) = read_score(smf("00 90 3C 85" * 50 + "00 80 3C 85" * 50)).remarks
    assert "100 times" in remark.message


def test_byte_offsets_count_from_the_start_of_a_wrapped_file() -> None:
    inner = smf("00 90 3C 85  60 80 3C 40")
    data = b"\x00" * 128 + inner
    assert read_score(data).remarks[1].where == f"track 1, byte {128 + 22}"


class TestKeptBesideTheParser:
    """Events mido cannot represent are written back byte for byte, with the time of what follows them."""

    @pytest.mark.parametrize(
        "event",
        [
            "FF 08 02 41 42",  # program name (RP-019): a type mido does not know; it loses the delta time
            "FF 59 02 08 00",  # wild key signature
            "FF 51 02 07 A1",  # tempo too short
            "FF 51 04 07 A1 20 00",  # tempo longer than expected (SMF: use what you know, pass the rest)
            "FF 00 00",  # sequence number without a number
            "FF 20 00",  # channel prefix without a channel
            "FF 54 05 61 3C 00 00 00",  # SMPTE offset with 60 minutes
            "FF 58 04 04 FF 18 08",  # beat of 1/2^255
            "FF 7F 04 00 00 00 00",  # sequencer specific, as the stand-ins are
            "FF 7F 00",
            "F0 00",  # sysex of no bytes
            "F0 03 43 12 00",  # first packet of a split sysex (SMF 2.3)
            "F7 06 43 12 00 43 12 00",  # continuation
            "F7 04 43 12 00 F7",  # last packet
            "F7 01 F8",  # escape: real-time byte
            "F0 05 43 90 00 07 F7",  # byte above 127 within
        ],
    )
    def test_odd_event(self, event: str) -> None:
        data = smf(f"10 {event}  20 90 3C 40  60 80 3C 40")
        assert notes(data) == [(48, 144, 60)]
        assert write(read_score(data)) == data

    def test_split_sysex_of_the_standard(self) -> None:
        """SMF 2.3, the example of a sysex sent in three packets 200 and 100 ticks apart."""
        data = smf("00 F0 03 43 12 00  81 48 F7 06 43 12 00 43 12 00  64 F7 04 43 12 00 F7")
        score = read_score(data)
        assert score.tracks[0].ticks.tolist() == [0, 200, 300]
        assert [m.type for m in score.tracks[0].messages] == ["sysex_packet"] * 3
        assert write(score) == data

    def test_long_sysex_and_text(self) -> None:
        """Ten megabytes, ten times what mido agrees to read."""
        size = 10_000_000
        body = (
            b"\x05\xf0"
            + bytes.fromhex("84 E2 AD 01")
            + b"\x11" * size
            + b"\xf7"
            + b"\x05\xff\x01\x83\xff\x7f"
        )
        data = smf(body + b"x" * 65535 + NOTE)
        score = read_score(data)
        assert score.notes["onset_tick"].tolist() == [10]
        assert score.tracks[0].messages[0].type == "sysex"
        assert len(score.tracks[0].messages[0].data) == size
        assert write(score) == data


REFUSED = {
    "empty": (b"", "the file is empty"),
    "text": (b"X:1\nT:A tune\nK:C\n", "a text file, not a MIDI file"),
    "other": (b"\x89PNG\r\n\x1a\n\x00\x00\x00\x0d", "a file of another kind"),
    "clip": (b"SMF2CLIP\x00\x40\x00\x00", "a MIDI 2.0 clip"),
    "only four bytes": (b"MThd", "breaks off inside its header"),
    "header cut": (header(1)[:13], "breaks off inside its header"),
    "no track": (header(0), "holds no track"),
    "only other chunks": (header(1) + chunk(b"XFIH", b"ab"), "holds no track"),
    "division 0": (smf(NOTE, division=0), "byte 12: .*0 ticks"),
    "SMPTE division of 0 ticks a frame": (smf(NOTE, division=0xE200), "byte 12: .*0 ticks"),
    "longer than a file can hold": (smf("FF FF FF 7F 90 3C 40  FF FF FF 7F 80 3C 40"), "track 1 is 536870910 ticks"),
}  # fmt: skip


@pytest.mark.parametrize(("data", "line"), REFUSED.values(), ids=REFUSED)
def test_nothing_to_play(data: bytes, line: str) -> None:
    with pytest.raises(InputError, match=rf"^tune\.mid: .*{line}") as caught:
        read_score(data, name="tune.mid")
    assert "\n" not in str(caught.value)


class TestHostile:
    """Time and memory stay bounded."""

    def test_endless_stray_bytes(self) -> None:
        walk = TrackWalk(b"\x00\xf8" * 1000, 0, 2000, Walk(name="tune.mid", steps_left=999))
        with pytest.raises(InputError, match=r"tune\.mid: too many special or damaged events"):
            walk.walk()

    def test_endless_delta_time(self) -> None:
        assert codes(smf(b"\x81" * 2_000_000 + b"\x00\x90\x3c\x40" + b"\x60\x80\x3c\x40")) == ["long-delta"]

    def test_unending_delta_time(self) -> None:
        data = header(1) + chunk(b"MTrk", NOTE + b"\xff" * 2_000_000)
        assert notes(data) == PLAYED

    def test_events_of_4_gb(self) -> None:
        assert notes(header(1) + chunk(b"MTrk", NOTE + bytes.fromhex("00 FF 01 8F FF FF FF 7F"))) == PLAYED
        assert notes(header(1) + chunk(b"MTrk", NOTE + bytes.fromhex("00 F0 FF FF FF 7F 00"))) == PLAYED

    def test_file_beyond_the_limit(self) -> None:
        with pytest.raises(InputError, match="more than 64 MB"):
            read_score(header(1) + bytes(64 << 20))

    def test_events_beyond_the_limit(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("retune.score.repair.MOST_EVENT_BYTES", 2 << 20)
        with pytest.raises(InputError, match="more than 2 MB of events"):
            read_score(smf(b"\x00\x90\x3c\x40" * (1 << 19)))

    def test_tracks_beyond_the_limit(self) -> None:
        with pytest.raises(InputError, match="more than 32767 tracks"):
            read_score(header(0xFFFF) + chunk(b"MTrk", END) * 0xFFFF)

    def test_thousands_of_tracks_without_a_length(self) -> None:
        assert len(read_score(header(0) + chunk(b"MTrk", NOTE, 0x7FFFFFFF) * 3000).tracks) == 3000

"""Parts: names, programs, ports, and which of them are percussion."""

from __future__ import annotations

import pytest

from retune.score import Part, read_score
from retune.score.parts import notes_of_kits
from retune.score.text import readable
from tests.score.build import smf


def parts(*tracks: str) -> tuple[Part, ...]:
    return read_score(smf(*tracks)).parts


def test_a_part_is_a_track_and_a_channel() -> None:
    found = parts(
        "00 FF 03 05 50 69 61 6E 6F  00 C0 05  00 90 3C 40  10 80 3C 40",  # "Piano", program 6
        "00 91 3C 40  00 90 40 40  10 81 3C 40  00 80 40 40",  # nameless, channels 1 and 2
    )
    assert [(part.index, part.track, part.port, part.channel) for part in found] == [
        (0, 0, 0, 0),
        (1, 1, 0, 0),
        (2, 1, 0, 1),
    ]
    assert [part.name for part in found] == ["Piano", "track 2 channel 1", "track 2 channel 2"]


def test_format_0_names_tell_channels_apart() -> None:
    found = parts("00 FF 03 04 54 72 69 6F  00 90 3C 40  00 91 40 40  10 80 3C 40  00 81 40 40")  # "Trio"
    assert [part.name for part in found] == ["Trio channel 1", "Trio channel 2"]


def test_port_event_tells_parts_apart() -> None:
    """FF 21: channel 1 of port 1 is not channel 1 of port 2."""
    found = parts("00 90 3C 40  10 80 3C 40  00 FF 21 01 01  00 90 3C 40  10 80 3C 40")
    assert [(part.port, part.channel) for part in found] == [(0, 0), (1, 0)]
    assert found[1].name == "track 1 channel 1 port 2"


def test_program_is_the_one_at_the_first_note() -> None:
    (part,) = parts("00 C0 05  10 C0 07  00 90 3C 40  10 C0 09  10 80 3C 40")
    assert part.program == 7


def test_program_from_another_track_of_the_channel() -> None:
    assert [part.program for part in parts("00 C3 2A", "00 93 3C 40  10 83 3C 40")] == [42]


NOTE_1, NOTE_10 = "10 90 3C 40  10 80 3C 40", "10 99 3C 40  10 89 3C 40"
GM2_ON, XG_ON = "00 F0 05 7E 7F 09 03 F7", "00 F0 08 43 10 4C 00 00 7E 00 F7"


def zone(manager: int, members: int) -> str:
    """An MPE configuration message (M1-100-UM v1.1, 2.2.1)."""
    return "  ".join(
        f"00 B{manager:X} {number:02X} {value:02X}" for number, value in ((101, 0), (100, 6), (6, members))
    )


PERCUSSION = {
    "channel 10 (GM1 p. 2)": (NOTE_10, True),
    "channel 1": (NOTE_1, False),
    "GM2 rhythm bank 120 and a program": (f"00 B0 00 78  00 C0 00  {NOTE_1}", True),
    "bank alone changes nothing": (f"00 B0 00 78  {NOTE_1}", False),
    "GM2 melody bank 121 on channel 10": (f"{GM2_ON}  00 B9 00 79  00 C9 00  {NOTE_10}", False),
    "bank 121 on channel 10 without GM2": (f"00 B9 00 79  00 C9 00  {NOTE_10}", True),
    "back from the rhythm bank": (f"00 B0 00 78  00 C0 00  00 B0 00 79  00 C0 00  {NOTE_1}", False),
    "XG drum bank 127 (from memory)": (f"{XG_ON}  00 B0 00 7F  00 C0 00  {NOTE_1}", True),
    "bank 127 without XG": (f"00 B0 00 7F  00 C0 00  {NOTE_1}", False),
    "GS rhythm part on channel 1 (from memory)": (f"00 F0 0A 41 10 42 12 40 11 15 01 19 F7  {NOTE_1}", True),
    "GS rhythm part off on channel 10": (f"00 F0 0A 41 10 42 12 40 10 15 00 1B F7  {NOTE_10}", False),
    "GS rhythm part on channel 11": (
        "00 F0 0A 41 10 42 12 40 1A 15 01 10 F7  10 9A 3C 40  10 8A 3C 40",
        True,
    ),
    "GS rhythm part on channel 11 is not channel 1": (
        f"00 F0 0A 41 10 42 12 40 1A 15 01 10 F7  {NOTE_1}",
        False,
    ),
    "GS rhythm part, then GM System On": (
        f"00 F0 0A 41 10 42 12 40 11 15 01 19 F7  00 F0 05 7E 7F 09 01 F7  {NOTE_1}",
        False,
    ),
    "GS rhythm part, then an identity request, which resets nothing (7E 06 01, from memory)": (
        f"00 F0 0A 41 10 42 12 40 11 15 01 19 F7  00 F0 05 7E 7F 06 01 F7  {NOTE_1}",
        True,
    ),
    "channel 10 in an MPE zone of 15": (f"{zone(0, 15)}  {NOTE_10}", False),
    "channel 10 in an upper zone": (f"{zone(15, 6)}  {NOTE_10}", False),
    "channel 10 outside a zone of 8": (f"{zone(0, 8)}  {NOTE_10}", True),
    "channel 10 after its zone": (f"{zone(0, 15)}  {zone(0, 0)}  {NOTE_10}", True),
    "a zone is made on channel 1 or 16 only": (f"{zone(3, 15)}  {NOTE_10}", True),
    "set up after the first note": (f"{NOTE_1}  00 B0 00 78  00 C0 00  {NOTE_1}", False),
}


@pytest.mark.parametrize(("track", "percussion"), PERCUSSION.values(), ids=PERCUSSION)
def test_percussion(track: str, percussion: bool) -> None:
    (part,) = parts(track)
    assert part.is_percussion is percussion


@pytest.mark.parametrize(
    ("block", "channel"), [(0, 10), *((b, b) for b in range(1, 10)), *((b, b + 1) for b in range(10, 16))]
)
def test_gs_blocks_are_channels(block: int, channel: int) -> None:
    """Block 0 is channel 10, the others follow in order (from memory): the part of that channel alone is drums."""
    checksum = -(0x40 + 0x10 + block + 0x15 + 1) % 128
    message = f"00 F0 0A 41 10 42 12 40 1{block:X} 15 01 {checksum:02X} F7"
    notes = [f"00 9{c:X} 3C 40  10 8{c:X} 3C 40" for c in range(16)]
    drums = {part.channel + 1 for part in parts("  ".join((message, *notes))) if part.is_percussion}
    assert drums == {10, channel}


@pytest.mark.parametrize(
    ("delay", "kits"), [(0x10, [True, True]), (0x11, [False, True]), (0x31, [False, False])]
)
def test_what_makes_a_kit_counts_for_the_notes_of_its_tick(delay: int, kits: list[bool]) -> None:
    """Whichever track it is in; the notes start at 16 and 48. The message is of GS (from memory)."""
    score = read_score(smf(f"{NOTE_1} {NOTE_1}", f"{delay:02X} F0 0A 41 10 42 12 40 11 15 01 19 F7"))
    assert notes_of_kits(score).tolist() == kits


def test_members_of_a_zone_have_the_program_of_their_manager() -> None:
    """M1-100-UM v1.1, 2.3.3."""
    (part,) = parts(f"{zone(0, 15)}  00 C0 30  00 C1 05  10 91 3C 40  10 81 3C 40")
    assert part.program == 0x30
    (part,) = parts("00 C0 30  00 C1 05  10 91 3C 40  10 81 3C 40")
    assert part.program == 5


def test_title_is_the_name_of_the_first_track() -> None:
    assert read_score(smf("00 FF 03 03 41 42 43", NOTE_1)).title == "ABC"


@pytest.mark.parametrize(
    ("raw", "text"),
    [
        (b"Fl\xc3\xb6te", "Flöte"),  # UTF-8
        (b"Fl\xf6te", "Flöte"),  # Latin-1
        (b"Violin I\x00", "Violin I"),
        (b"  two\nlines\t", "two lines"),
        (b"\xff\xfe", "ÿþ"),
        (b"", ""),
    ],
)
def test_readable_text(raw: bytes, text: str) -> None:
    assert readable(raw.decode("latin-1")) == text

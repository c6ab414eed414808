"""Which channels are drum kits."""

from __future__ import annotations

import pytest

from retune.check import check, decode
from retune.score import read_score
from tests.check.build import smf

GM2_ON, GM_ON = "00 F0 05 7E 7F 09 03 F7", "00 F0 05 7E 7F 09 01 F7"  # RP-024 4.9, RP-003 p. 3
XG_ON = "00 F0 08 43 10 4C 00 00 7E 00 F7"  # from memory


def note_on(channel: int) -> str:
    return f"00 9{channel:X} 3C 40 10 8{channel:X} 3C 40"


@pytest.mark.parametrize(
    ("setup", "channel", "drums"),
    [
        ("00 B0 00 78", 0, False),  # RP-024 2.4: the bank waits for the program change
        ("00 B0 00 78 00 C0 00", 0, True),
        ("00 C0 00 00 B0 00 78", 0, False),
        ("00 B0 00 78 00 C0 00 00 B0 00 00", 0, True),
        ("00 B0 00 78 00 C0 00 00 B0 00 79 00 C0 00", 0, False),
        ("", 9, True),  # GM1 p. 2
        ("00 B9 00 79 00 C9 00", 9, True),
        (f"{GM2_ON} 00 B9 00 79 00 C9 00", 9, False),
        (f"{GM2_ON} 00 B9 00 79 00 C9 00 {GM_ON}", 9, True),
        (f"{GM_ON} 00 B9 00 79 00 C9 00", 9, True),
        ("00 B0 00 7F 00 C0 00", 0, False),
        (f"{XG_ON} 00 B0 00 7F 00 C0 00", 0, True),
        ("00 F0 0A 41 10 42 12 40 11 15 01 19 F7", 0, True),  # from memory
        ("00 F0 0A 41 10 42 12 40 10 15 00 1B F7", 9, False),
    ],
)
def test_banks_count_from_the_program_change_on(setup: str, channel: int, drums: bool) -> None:
    data = smf(f"{setup} {note_on(channel)}")
    assert decode(data).notes["percussion"].tolist() == [drums]
    assert [part.is_percussion for part in read_score(data).parts] == [drums]
    assert check(data, data).problems == ()

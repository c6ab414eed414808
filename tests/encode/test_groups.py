"""MIDI 2.0 clips of files with time code, with many ports and with key pressure on doubled keys."""

import pytest

from retune.check import decode
from retune.encode import encode
from retune.options import Options
from retune.pipeline import convert
from tests.encode.build import Event, file_of, in_order, note, score_of, tuning_of

MIDI2 = Options(encoding="midi2")
TRIADS = in_order(*(note(960 * k, 960 * k + 900, key) for k in range(3) for key in (60 + k, 64 + k, 67 + k)))


def with_time_code(data: bytes, frames: int, ticks: int) -> bytes:
    """The same with a time code as division: SMF 1.0 p. 4, minus the frames a second, then ticks a frame."""
    return data[:12] + bytes([256 - frames, ticks]) + data[14:]


@pytest.mark.parametrize(("frames", "ticks"), [(25, 40), (29, 4), (29, 80), (25, 1)])
def test_time_code_without_whole_ticks_a_quarter_converts(frames, ticks):
    """29 stands for 29.97 frames a second, so that ticks a quarter are no whole number."""
    data = with_time_code(file_of([TRIADS]), frames, ticks)
    conversion = convert(data, MIDI2)
    assert conversion.checked.ok
    clip = decode(conversion.files[0].data)
    assert sorted(clip.notes["onset_tick"].tolist()) == sorted([0, 0, 0, 960, 960, 960, 1920, 1920, 1920])


def test_ports_beyond_the_groups_take_free_groups():
    """A clip has 16 groups (M2-104-UM 2.1.2): port 16 must not fall together with port 0."""
    tracks: list[list[Event]] = [
        [(0, f"meta midi_port port={port}"), (0, f"program_change channel=0 program={port}"), *TRIADS]
        for port in (0, 16, 31)
    ]
    conversion = convert(file_of(tracks), MIDI2)
    assert conversion.checked.ok
    clip = decode(conversion.files[0].data)
    assert sorted(set(clip.notes["program"].tolist())) == [0, 16, 31]


def test_key_pressure_reaches_a_doubled_key():
    """The second of two notes of a key goes by another index; pressure of the key follows it."""
    events = [*note(0, 480, 60), *note(240, 960, 60), (500, "polytouch channel=0 note=60 value=9")]
    score = score_of([sorted(events, key=lambda e: e[0])])
    clip = decode(encode(score, tuning_of(score, [0.0, 0.0]), MIDI2).files[0].data)
    pressures = clip.events[(clip.events["tick"] == 500)]["number"].tolist()
    assert 60 in pressures
    assert len(pressures) == 2

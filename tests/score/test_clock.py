"""Tempo to seconds. SMF 1.0: division, tempo event `FF 51 03`, 120 to the minute where there is none."""

from __future__ import annotations

import mido
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.score import read_score
from retune.score.clock import TempoEvent, build_clock
from tests.score.build import smf, write


def test_default_tempo() -> None:
    """960 ticks at 480 to the quarter and 120 quarters to the minute are one second."""
    assert build_clock(480, []).seconds(960) == 1.0


def test_tempo_changes_add_up() -> None:
    clock = build_clock(480, [TempoEvent(960, 1_000_000), TempoEvent(480, 250_000)])
    assert clock.seconds(np.array([0, 480, 960, 1440])).tolist() == [0.0, 0.5, 0.75, 1.75]


def test_last_tempo_of_a_tick_holds() -> None:
    assert build_clock(480, [TempoEvent(0, 250_000), TempoEvent(0, 1_000_000)]).seconds(480) == 1.0


def test_tempo_of_any_track_counts() -> None:
    score = read_score(smf("00 90 3C 40 60 80 3C 40", "00 FF 51 03 0F 42 40"))
    assert score.clock.seconds(480) == 1.0


@pytest.mark.parametrize(
    ("division", "ticks_per_second"),
    [
        (0xE250, 2400),  # -30 / 80: 30 frames of 80 ticks (SMF 2.1)
        (0xE728, 1000),  # -25 / 40: millisecond ticks (SMF 2.1)
        (0xE804, 96),  # -24 / 4
        (0xE364, 100 * 30000 / 1001),  # -29: drop-frame rate, from memory
    ],
)
def test_smpte_division(division: int, ticks_per_second: float) -> None:
    """Ticks are fractions of a second; tempo events do not change them (from memory)."""
    data = smf("00 FF 51 03 0F 42 40  00 90 3C 40  60 80 3C 40", division=division)
    score = read_score(data)
    assert score.clock.smpte
    assert score.clock.seconds(96) == pytest.approx(96 / ticks_per_second, rel=1e-12)
    assert score.clock.ticks_per_quarter == pytest.approx(ticks_per_second / 2)
    assert score.division == division - 0x10000
    assert write(score) == data


def test_frame_rate_outside_the_standard() -> None:
    score = read_score(smf("00 90 3C 40 60 80 3C 40", division=0xCE0A))
    assert score.clock.seconds(500) == pytest.approx(1.0)
    assert [remark.code for remark in score.remarks] == ["frame-rate"]


@settings(deadline=None)
@given(
    st.integers(1, 960),
    st.lists(st.tuples(st.integers(0, 5000), st.integers(1, 0xFFFFFF)), max_size=8),
    st.lists(st.integers(0, 20000), min_size=1, max_size=20),
)
def test_seconds_are_those_of_a_second_reader(
    division: int, tempos: list[tuple[int, int]], ticks: list[int]
) -> None:
    """Against mido's running time of a merged file."""
    tempos = sorted(tempos, key=lambda pair: pair[0])
    track = mido.MidiTrack()
    last = 0
    for tick, tempo in tempos:
        track.append(mido.MetaMessage("set_tempo", tempo=tempo, time=tick - last))
        last = tick
    clock = build_clock(division, [TempoEvent(*pair) for pair in tempos])
    for tick in ticks:
        if tick >= last:
            whole = mido.MidiTrack([*track, mido.Message("clock", time=tick - last)])
            seconds = sum(message.time for message in mido.MidiFile(tracks=[whole], ticks_per_beat=division))
            assert clock.seconds(tick) == pytest.approx(seconds, rel=1e-9, abs=1e-12)
    assert np.array_equal(clock.ticks(clock.seconds(np.array(ticks))), ticks)

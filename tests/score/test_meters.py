"""Bars and beats from time signatures (SMF 3.1; 4/4 where there is none)."""

from __future__ import annotations

import pytest

from retune.score import Meters, read_score
from retune.score.meters import MeterEvent, build_meters
from tests.score.build import smf


def place(meters: Meters, tick: int) -> tuple[int, float]:
    bar, beat = meters.bar_beat(tick)
    return int(bar), float(beat)


def test_common_time_by_default() -> None:
    meters = build_meters(480, [])
    assert [place(meters, tick) for tick in (0, 480, 1919, 1920)] == [
        (1, 1.0),
        (1, 2.0),
        (1, pytest.approx(4.9979, abs=1e-4)),
        (2, 1.0),
    ]


def test_performed_places_are_said_as_a_musician_says_them() -> None:
    """A little early or late is on the beat, or between two; thirty-seconds and triplets stay what they are."""
    meters = build_meters(480, [MeterEvent(1920, 0, 3, 4)])
    said = [meters.spoken(tick) for tick in (1905, 1910, 5, 475, 237, 60, 160, 4790, 4797)]
    assert [(int(bar), float(beat)) for bar, beat in said] == [
        (2, 1.0),
        (2, 1.0),
        (1, 1.0),
        (1, 2.0),
        (1, 1.5),
        (1, 1.125),
        (1, pytest.approx(4 / 3)),
        (4, 1.0),
        (4, 1.0),
    ]


def test_six_eight_of_the_standard() -> None:
    """SMF 3.1: `FF 58 04 06 03 24 08` is 6/8; beats are eighths, a bar is three quarters."""
    score = read_score(smf("00 FF 58 04 06 03 24 08  00 90 3C 40  60 80 3C 40"))
    assert [place(score.meters, tick) for tick in (0, 240, 1440)] == [(1, 1.0), (1, 2.0), (2, 1.0)]
    assert score.where(1680) == "bar 2, beat 2"


def test_change_at_a_bar_line() -> None:
    meters = build_meters(480, [MeterEvent(0, 0, 4, 4), MeterEvent(3840, 0, 3, 4)])
    assert [place(meters, tick) for tick in (3839 + 1, 3840 + 1440)] == [(3, 1.0), (4, 1.0)]


def test_pickup_bar() -> None:
    meters = build_meters(480, [MeterEvent(0, 0, 1, 4), MeterEvent(480, 0, 4, 4)])
    assert [place(meters, tick) for tick in (0, 480, 2400)] == [(1, 1.0), (2, 1.0), (3, 1.0)]


def test_change_inside_a_bar_starts_the_next_bar() -> None:
    meters = build_meters(480, [MeterEvent(0, 0, 4, 4), MeterEvent(2880, 0, 3, 4)])
    assert [place(meters, tick) for tick in (2400, 2880, 4320)] == [(2, 2.0), (3, 1.0), (4, 1.0)]


def test_repeated_signature_changes_nothing() -> None:
    meters = build_meters(480, [MeterEvent(0, 0, 4, 4), MeterEvent(2400, 0, 4, 4), MeterEvent(2880, 1, 4, 4)])
    assert place(meters, 3840) == (3, 1.0)
    assert len(meters.change_ticks) == 1


def test_first_track_decides_at_equal_ticks() -> None:
    meters = build_meters(480, [MeterEvent(0, 2, 4, 4), MeterEvent(0, 0, 6, 8), MeterEvent(0, 1, 3, 4)])
    assert (meters.numerator.tolist(), meters.denominator.tolist()) == ([6], [8])


@pytest.mark.parametrize("bar", [1, 2, 3, 4, 9])
@pytest.mark.parametrize("beat", [1.0, 2.5])
def test_tick_of_a_place_and_back(bar: int, beat: float) -> None:
    meters = build_meters(480, [MeterEvent(0, 0, 4, 4), MeterEvent(1920, 0, 6, 8), MeterEvent(4800, 0, 5, 4)])
    assert place(meters, meters.tick_of(bar, beat)) == (bar, beat)

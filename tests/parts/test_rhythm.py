"""From ticks to written note values."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from retune.errors import OptionError
from retune.parts.rhythm import DIVISIONS, Measure, measures, on_grid, voices, written
from tests.parts.build import score_of

VALUES = {"whole": 96, "half": 48, "quarter": 24, "eighth": 12, "16th": 6, "32nd": 3, "64th": 1.5}


@pytest.mark.parametrize("step", [3, 4, 6, 8, 24])
def test_music_on_a_grid_stays_where_it_is(step: int) -> None:
    exact = np.arange(0, 960, step)
    assert (on_grid(exact / DIVISIONS) == exact).all()


def test_a_beat_of_triplets_among_straight_beats_is_kept() -> None:
    exact = np.array([0, 6, 12, 18, 24, 32, 40, 48, 60])
    assert (on_grid(exact / DIVISIONS + 0.01) == exact).all()


@given(st.integers(0, 95), st.integers(1, 96), st.lists(st.integers(0, 95), max_size=3))
def test_written_pieces_fill_the_stretch_and_say_their_own_length(
    start: int, length: int, cuts: list[int]
) -> None:
    end = min(start + length, 96)
    pieces = written(start, end, Measure(1, 0, 96, None), cuts)
    at = start
    for position, value in pieces:
        assert position == at
        at += value.divisions
        dotted = VALUES[value.type] * (1.5 if value.dots else 1.0)
        assert value.dots <= 1
        assert value.divisions == pytest.approx(dotted * (2 / 3 if value.triplet else 1.0))
    assert at == end
    assert {c for c in cuts if start < c < end} <= {position for position, _ in pieces}


@pytest.mark.parametrize("bar_start", [0, 18])  # 18: after a bar of 3/16
@pytest.mark.parametrize(
    ("start", "length", "names"),
    [
        (0, 96, ["whole"]),
        (0, 36, ["quarter."]),
        (12, 24, ["quarter"]),  # syncopation
        (24, 72, ["half."]),
        (6, 18, ["eighth."]),
        (18, 30, ["16th", "quarter"]),
        (0, 60, ["half", "eighth"]),
        (8, 16, ["quarter3"]),
    ],
)
def test_usual_values_are_written_the_usual_way(
    bar_start: int, start: int, length: int, names: list[str]
) -> None:
    first = bar_start + start
    pieces = written(first, first + length, Measure(2, bar_start, bar_start + 96, None))
    assert [v.type + "." * v.dots + "3" * v.triplet for _, v in pieces] == names


@given(st.lists(st.tuples(st.integers(0, 50), st.integers(1, 20)), max_size=30))
def test_no_voice_overlaps_itself(raw: list[tuple[int, int]]) -> None:
    stretches = sorted((start, start + length) for start, length in raw)
    found = voices([a for a, _ in stretches], [b for _, b in stretches])
    for voice in set(found):
        mine = [s for s, v in zip(stretches, found, strict=True) if v == voice]
        assert all(a[1] <= b[0] for a, b in itertools.pairwise(mine))
    deepest = max((sum(a <= s < b for a, b in stretches) for s, _ in stretches), default=0)
    assert len(set(found)) == deepest


def test_a_file_of_endless_bars_is_refused() -> None:
    meters = score_of({"One": [(0.0, 1.0, 60)]}).meters
    with pytest.raises(OptionError, match="more than 20000 bars: too long to write as notation"):
        measures(meters, 10**9)

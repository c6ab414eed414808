"""Glides: same ends, small steps, bounded number, never past the next change."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.tuning import glided
from retune.tuning.glide import GLIDE_STEP_CENTS, MOST_GLIDE_STEPS
from retune.tuning.model import OFFSET_DTYPE, Tuning
from tests.tuning.build import TPQ, score_of


def tuning_of(steps):
    """One note of eight quarters that takes each offset in turn, evenly spaced."""
    length = 8 * TPQ // len(steps)
    rows = [(0, i * length, (i + 1) * length, cents) for i, cents in enumerate(steps)]
    return Tuning(offsets=np.array(rows, dtype=OFFSET_DTYPE), displacement_cents=np.zeros(0))


SCORE = score_of([(0, 0.0, 8.0, 60)])  # 120 quarters a minute: 8 quarters last 4 s


@settings(deadline=None)
@given(
    st.lists(st.integers(-60, 60), min_size=2, max_size=8).filter(
        lambda s: all(a != b for a, b in pairwise(s))
    ),
    st.floats(1.0, 3000.0),
)
def test_a_glide_is_fine_and_ends_where_the_jump_did(steps, milliseconds):
    tuning = tuning_of([float(s) for s in steps])
    rows = glided(SCORE, tuning, milliseconds).offsets
    assert rows["offset_cents"][0] == steps[0]
    assert rows["offset_cents"][-1] == pytest.approx(steps[-1])
    assert np.all(rows["start_tick"][1:] == rows["end_tick"][:-1])
    assert np.all(rows["end_tick"] > rows["start_tick"])
    assert rows["end_tick"][-1] == tuning.offsets["end_tick"][-1]
    assert len(rows) <= 1 + (len(steps) - 1) * MOST_GLIDE_STEPS
    ticks = milliseconds / 1000 * TPQ * 2
    widest = max(abs(a - b) for a, b in pairwise(steps))
    if (
        min(ticks, 8 * TPQ / len(steps)) > 2 * MOST_GLIDE_STEPS
        and widest <= MOST_GLIDE_STEPS * GLIDE_STEP_CENTS
    ):
        assert np.abs(np.diff(rows["offset_cents"])).max() <= GLIDE_STEP_CENTS + 1e-9


def test_a_glide_lasts_as_long_as_asked():
    rows = glided(SCORE, tuning_of([0.0, 20.0]), 500.0).offsets
    half = 4 * TPQ
    assert rows["start_tick"][1] == half
    last_step = rows["start_tick"][-1] - half
    assert last_step == pytest.approx(
        0.5 * 2 * TPQ * 19 / 20, abs=2
    )  # twenty steps, the last begins after nineteen


@pytest.mark.parametrize(("cents", "steps"), [(20.0, 20), (32.0, 32), (33.0, 32), (-400.0, 32)])
def test_a_glide_has_a_step_a_cent_and_at_most_thirty_two(cents, steps):
    assert len(glided(SCORE, tuning_of([0.0, cents]), 2000.0).offsets) == 1 + steps


def test_no_glide_and_notes_that_never_move_change_nothing():
    jumping, still = tuning_of([0.0, 20.0]), tuning_of([5.0])
    assert glided(SCORE, jumping, 0.0) is jumping
    assert glided(SCORE, still, 100.0) is still

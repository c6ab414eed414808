"""The same as NumPy's own."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from retune.arrays import distinct, numbered, percentile, so_far


@given(st.lists(st.integers(-5, 5)))
def test_distinct_values(values):
    assert np.array_equal(
        distinct(np.array(values, dtype=np.int64)), np.unique(np.array(values, dtype=np.int64))
    )


@given(st.lists(st.integers(-5, 5)))
def test_numbered_values(values):
    array = np.array(values, dtype=np.int64)
    for found, expected in zip(numbered(array), np.unique(array, return_inverse=True), strict=True):
        assert np.array_equal(found, expected)


@given(
    st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=30),
    st.sampled_from([0.0, 12.5, 50.0, 95.0, 99.0, 100.0]),
)
def test_percentiles(values, share):
    assert percentile(np.array(values), share) == pytest.approx(np.percentile(values, share), abs=1e-9)


@given(st.lists(st.lists(st.integers(-9, 9), min_size=3, max_size=3)))
def test_running_totals_start_with_nothing(rows):
    values = np.array(rows).reshape(-1, 3)
    assert np.array_equal(so_far(values), np.vstack([np.zeros(3), np.cumsum(values, axis=0)]))

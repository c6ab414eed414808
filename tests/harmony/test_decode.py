"""The best division of a piece into chords, against a plain dynamic programme over every candidate."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.harmony.evidence.steps import find_steps
from retune.harmony.finder import fitted
from retune.harmony.finder.candidates import evidence_table
from retune.harmony.finder.decode import best_stretches
from retune.harmony.finder.segments import Junctures, find_junctures
from tests.harmony.build import score_of

NOTE = st.tuples(
    st.integers(0, 24).map(lambda n: n / 2), st.integers(1, 6).map(lambda n: n / 2), st.integers(36, 84)
)
VOICES = st.lists(st.lists(NOTE, min_size=1, max_size=10), min_size=1, max_size=4)


def points_of_motion(old: int, new: int) -> float:
    """Points for moving between two candidates, read off the fitted table: of class and rise of the root."""
    nth_of_layer = [nth for size in fitted.LAYERS for nth in range(size)]
    return float(fitted.MOTION[nth_of_layer[new // 12], (new - old) % 12])


def evidence_of(junctures: Junctures, start: int, end: int) -> np.ndarray:
    features = junctures.features(np.array([start]), np.array([end]))
    return (features @ evidence_table())[0].astype(np.float64)


def most_points(junctures: Junctures) -> float:
    """Points of the best division: every stretch, every candidate, every candidate before it."""
    count = evidence_table().shape[1]
    motion = np.array([[points_of_motion(a, b) for b in range(count)] for a in range(count)])
    before = [np.zeros(count)]
    for end in range(1, len(junctures) + 1):
        starts = range(end - int(junctures.reach[end - 1]), end)
        best = np.max([before[start] + evidence_of(junctures, start, end) for start in starts], axis=0)
        if end == len(junctures):
            return float(best.max())
        before.append((best[:, None] + motion).max(axis=0) - junctures.cost[end])
    raise AssertionError


@settings(max_examples=12, deadline=None)
@given(VOICES)
def test_no_division_has_more_points(voices):
    junctures = find_junctures(find_steps(score_of(*voices)))
    starts, candidates = best_stretches(junctures)
    ends = np.append(starts[1:], len(junctures))
    assert starts[0] == 0
    assert (ends > starts).all()
    total = 0.0
    for start, end, candidate in zip(starts, ends, candidates, strict=True):
        total += float(evidence_of(junctures, int(start), int(end))[candidate])
    for start, old, new in zip(starts[1:], candidates, candidates[1:], strict=False):
        total += points_of_motion(int(old), int(new)) - float(junctures.cost[start])
    assert total == pytest.approx(most_points(junctures), abs=1e-3)

"""What the stage `score` costs."""

import pytest

from tests.benchmarks.stages import measure_stage


@pytest.mark.benchmark
def test_score(say):
    measure_stage("score", say)

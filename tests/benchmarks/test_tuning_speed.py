"""What the stage `tuning` costs."""

import pytest

from tests.benchmarks.stages import measure_stage


@pytest.mark.benchmark
def test_tuning(say):
    measure_stage("tuning", say)

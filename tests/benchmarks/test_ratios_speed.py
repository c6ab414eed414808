"""What the stage `ratios` costs."""

import pytest

from tests.benchmarks.stages import measure_stage


@pytest.mark.benchmark
def test_ratios(say):
    measure_stage("ratios", say)

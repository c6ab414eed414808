"""What the stage `harmony` costs."""

import pytest

from tests.benchmarks.stages import measure_stage


@pytest.mark.benchmark
def test_harmony(say):
    measure_stage("harmony", say)

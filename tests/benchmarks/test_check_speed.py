"""What the stage `check` costs."""

import pytest

from tests.benchmarks.stages import measure_stage


@pytest.mark.benchmark
def test_check(say):
    measure_stage("check", say)

"""What the stage `encode` costs."""

import pytest

from tests.benchmarks.stages import measure_stage


@pytest.mark.benchmark
def test_encode(say):
    measure_stage("encode", say)

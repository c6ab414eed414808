"""What the stage `harmony` costs."""

import pytest

from retune.harmony import find_harmony
from retune.score import read_score
from tests.benchmarks.measure import best_seconds, told
from tests.benchmarks.music import generated
from tests.benchmarks.stages import measure_stage

pytestmark = pytest.mark.benchmark


def test_harmony(say):
    measure_stage("harmony", say)


def test_windows_a_second(say):
    """Linear time: as many windows a second in a long file as in a short one."""
    speed = {}
    for notes, rounds in ((5_000, 4), (100_000, 2)):
        score = read_score(generated(notes))
        seconds = best_seconds({"ours": lambda score=score: find_harmony(score)}, rounds)["ours"]
        speed[notes] = len(find_harmony(score).windows) / seconds
    label = f"windows a second ({speed[100_000]:,.0f}), 100,000 notes against 5,000"
    say(told(label, speed[100_000] / speed[5_000], 0.8, more=True))

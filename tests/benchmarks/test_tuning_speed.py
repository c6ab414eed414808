"""What the stage `tuning` costs."""

import pytest

from retune.pipeline import analyze, tune
from tests.benchmarks.measure import best_seconds, told
from tests.benchmarks.music import generated
from tests.benchmarks.stages import measure_stage

pytestmark = pytest.mark.benchmark


def test_tuning(say):
    measure_stage("tuning", say)


SHORT, LONG, PIECES = 5_000, 100_000, 4


def test_cost_of_a_note(say):
    """Short pieces take 14 to 17 steps of the solver, as they happen to be: several stand for all."""
    short = [analyze(generated(SHORT, seed)) for seed in range(1, PIECES + 1)]
    long = analyze(generated(LONG))
    best = best_seconds(
        {
            "short": lambda: [tune(piece, explain=False) for piece in short],
            "long": lambda: tune(long, explain=False),
        },
        3,
    )
    ratio = best["long"] / LONG / (best["short"] / (PIECES * SHORT))
    say(told(f"tuning: cost of a note, {LONG:,} against {SHORT:,}", ratio, 1.5))

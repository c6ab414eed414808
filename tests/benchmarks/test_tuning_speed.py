"""What the stage `tuning` costs."""

import pytest

from retune.pipeline import analyze, tune
from tests.benchmarks.measure import best_seconds, told
from tests.benchmarks.music import generated
from tests.benchmarks.stages import measure_stage

pytestmark = pytest.mark.benchmark


def test_tuning(say):
    measure_stage("tuning", say)


def test_cost_of_a_note(say):
    """A longer piece takes a few steps more, and no longer fits into the processor's memory."""
    analyses = {notes: analyze(generated(notes)) for notes in (5_000, 100_000)}
    best = best_seconds(
        {notes: lambda a=analysis: tune(a, explain=False) for notes, analysis in analyses.items()}, 3
    )
    ratio = best[100_000] / 100_000 / (best[5_000] / 5_000)
    say(told("tuning: cost of a note, 100,000 against 5,000", ratio, 1.5))

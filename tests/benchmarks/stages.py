"""Each stage by itself, with what it takes from the left made ready: processor time against mido's copy."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

from retune.check import check
from retune.collector import without_collector
from retune.encode import encode
from retune.harmony import find_harmony
from retune.options import Options
from retune.pipeline import Analysis, analyze, tune
from retune.ratios import choose_ratios
from retune.score import read_score
from retune.threads import on_one_thread
from tests.benchmarks.measure import best_seconds, told
from tests.benchmarks.music import chorale, generated, mido_copy, song

PIECES = {"chorale": chorale, "song": song, "100 000 notes": lambda: generated(100_000)}
OPTIONS = Options()


@cache
def _prepared(name: str) -> dict[str, Callable[[], Any]]:
    """Stage → a call of it, for one of the pieces."""
    data = PIECES[name]()
    analysis: Analysis = analyze(data, OPTIONS)
    score, harmony, ratios = analysis.score, analysis.harmony, analysis.ratios
    tuning = tune(analysis, explain=False)
    encoded = encode(score, tuning, OPTIONS)
    return {
        "score": lambda: read_score(data),
        "harmony": lambda: find_harmony(score),
        "ratios": lambda: choose_ratios(harmony),
        "tuning": lambda: tune(analysis, explain=False),
        "encode": lambda: encode(score, tuning, OPTIONS),
        "check": lambda: check(
            score, encoded, intended=tuning, harmony=harmony, ratios=ratios, options=OPTIONS
        ),
    }


def measure_stage(stage: str, say: Callable[[str], None]) -> None:
    """Say what a stage costs on each piece."""
    for name, make in PIECES.items():
        data, run = make(), without_collector(on_one_thread(_prepared(name)[stage]))  # as in a conversion
        rounds = 1 if len(data) > 100_000 else 6
        best = best_seconds({"mido": lambda data=data: mido_copy(data), "ours": run}, rounds)
        label = f"{stage}, {name} ({1000 * best['ours']:.2f} ms)"
        say(told(label, best["ours"] / best["mido"], what="times mido's copy"))

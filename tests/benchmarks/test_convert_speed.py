"""A whole conversion in this process against mido's own reading and writing of the same file."""

from __future__ import annotations

import os
from statistics import median

import pytest

from retune.pipeline import convert
from retune.score import read_score
from tests.benchmarks.measure import best_seconds, told
from tests.benchmarks.music import chorale, chorales, generated, mido_copy, song

pytestmark = pytest.mark.benchmark
GOAL = 4.0
MOST_NOTES = 1_000_000 if os.environ.get("RETUNE_LARGE") else 100_000

PIECES = {"chorale": chorale, "song": song, "100 000 notes": lambda: generated(100_000)}


@pytest.mark.parametrize("name", PIECES)
def test_conversion_against_mido(name, say):
    data = PIECES[name]()
    rounds = 3 if len(data) > 100_000 else 8
    best = best_seconds({"mido": lambda: mido_copy(data), "ours": lambda: convert(data)}, rounds)
    notes = len(read_score(data).notes)
    speed = f"{1000 * best['ours']:.1f} ms, {notes / best['ours']:,.0f} notes a second"
    say(told(f"convert, {name} ({speed})", best["ours"] / best["mido"], GOAL))


def test_chorales_against_mido(say):
    """What a chorale costs depends on its length: the one above is among the shortest."""
    ratios = []
    for data in chorales():
        best = best_seconds({"mido": lambda d=data: mido_copy(d), "ours": lambda d=data: convert(d)}, 4)
        ratios.append(best["ours"] / best["mido"])
    say(told(f"convert, the median of {len(ratios)} chorales", median(ratios), GOAL))


def test_cost_of_a_note(say):
    """Linear cost: with RETUNE_LARGE=1 a million notes, else a tenth of that, against ten thousand."""
    per_note = {}
    for notes in (10_000, MOST_NOTES):
        data = generated(notes)
        seconds = best_seconds({"ours": lambda data=data: convert(data)}, 1 if notes > 10_000 else 4)["ours"]
        per_note[notes] = seconds / notes
    say(told(f"cost of a note, {MOST_NOTES:,} against 10,000", per_note[MOST_NOTES] / per_note[10_000], 1.3))

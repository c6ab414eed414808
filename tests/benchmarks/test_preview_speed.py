"""How fast the exact tone is made: seconds of sound per second of work, on one core."""

from __future__ import annotations

import time

import pytest

from retune.listen import Wishes, preview
from retune.listen.spectra import AMPLITUDES
from retune.pipeline import analyze, tune

LEAST = 20.0  # times real time for a piece in four parts


@pytest.mark.benchmark
@pytest.mark.parametrize("sound", list(AMPLITUDES))
def test_four_parts_sound_at_least_twenty_times_faster_than_they_last(
    sound: str, samples: dict[str, bytes], capsys: pytest.CaptureFixture[str]
) -> None:
    analysis = analyze(samples["evening_hymn"])
    tuning = tune(analysis)
    best = 0.0
    for _ in range(3):
        start = time.process_time()
        made = preview(analysis.score, analysis.harmony, tuning, Wishes(sound=sound))
        best = max(best, len(made.samples) / made.rate / (time.process_time() - start))
    with capsys.disabled():
        print(f"\npreview, evening hymn, four parts, {sound}: {best:.0f} times real time")
    assert best > LEAST

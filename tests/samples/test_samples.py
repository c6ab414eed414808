"""The sample scores: generated anew byte for byte, and sound as music."""

from __future__ import annotations

import itertools
import subprocess
import sys
from pathlib import Path

import pytest

from retune.score import read_score

SAMPLES = Path(__file__).parents[2] / "sample_scores"
NAMES = sorted(path.stem for path in SAMPLES.glob("*.mid"))


def test_there_are_five_pieces():
    assert NAMES == ["close_harmony_tag", "evening_hymn", "pop_loop", "slow_piano", "string_trio"]


def test_generator_writes_the_same_bytes(tmp_path):
    subprocess.run([sys.executable, SAMPLES / "generate.py", tmp_path], check=True, capture_output=True)
    for name in NAMES:
        assert (tmp_path / f"{name}.mid").read_bytes() == (SAMPLES / f"{name}.mid").read_bytes(), name


@pytest.mark.parametrize(
    ("name", "parts", "bars"),
    [
        ("evening_hymn", ["Soprano", "Alto", "Tenor", "Bass"], 18),
        ("string_trio", ["Violin", "Viola", "Cello", "Piano"], 16),
        ("pop_loop", ["Bass", "Pads", "Arpeggio", "Drums"], 16),
        ("close_harmony_tag", ["Tenor", "Lead", "Baritone", "Bass"], 10),
        ("slow_piano", ["Right hand", "Left hand"], 12),
    ],
)
def test_piece_reads_cleanly(name, parts, bars):
    score = read_score((SAMPLES / f"{name}.mid").read_bytes(), name=name)
    assert [part.name for part in score.parts] == parts
    assert score.remarks == ()
    last, _ = score.meters.bar_beat(score.end_tick - 1)
    assert int(last) == bars


@pytest.mark.parametrize("name", ["evening_hymn", "string_trio"])
def test_voices_make_no_parallel_fifths_or_octaves(name):
    """Voice leading as textbooks of harmony ask for it (common practice, no source)."""
    score = read_score((SAMPLES / f"{name}.mid").read_bytes())
    voices = [score.notes[score.notes["part"] == part.index] for part in score.parts if part.name != "Piano"]
    onsets = sorted({int(tick) for voice in voices for tick in voice["onset_tick"]})

    def sounding(voice, tick):
        now = voice[(voice["onset_tick"] <= tick) & (voice["release_tick"] > tick)]
        return int(now["key"][0]) if len(now) else None

    columns = [[sounding(voice, tick) for voice in voices] for tick in onsets]
    for (before, after), tick in zip(itertools.pairwise(columns), onsets[1:], strict=True):
        for i, j in itertools.combinations(range(len(voices)), 2):
            if None in (before[i], before[j], after[i], after[j]) or before[i] == after[i]:
                continue
            first, second = (before[i] - before[j]) % 12, (after[i] - after[j]) % 12
            assert not (first == second and first in (0, 7)), score.where(tick)

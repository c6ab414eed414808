"""Repeated notes and melodic steps against worked cases."""

from __future__ import annotations

import math

import numpy as np
import pytest

from retune.check.measures.lines import comma_jumps, odd_steps, repeats
from retune.check.measures.tuned import TunedNotes

SYNTONIC_COMMA = 1200 * math.log2(81 / 80)


def line(*notes: tuple[int, int, int, float], part: tuple[int, ...] = ()) -> TunedNotes:
    """(start, end, key, cents) in order of start; a quarter is 480 ticks."""
    start, end, key, cents = (np.array(column) for column in zip(*notes, strict=True))
    return TunedNotes(
        ticks_per_quarter=480.0,
        onset=start,
        release=end,
        key=key,
        part=np.array(part) if part else np.zeros(len(notes), dtype=np.int64),
        note=np.arange(len(notes)),
        start=start,
        end=end,
        cents=cents.astype(float),
    )


def test_repeat_within_two_quarters() -> None:
    notes = line((0, 480, 60, 0.0), (480, 900, 60, 3.0), (1859, 2000, 60, 5.0), (2960, 3000, 60, 50.0))
    assert repeats(notes).cents.tolist() == [3.0, 2.0]


def test_repeat_in_another_part_or_octave_is_none() -> None:
    assert len(repeats(line((0, 480, 60, 0.0), (480, 900, 60, 3.0), part=(0, 1))).cents) == 0
    assert len(repeats(line((0, 480, 60, 0.0), (480, 900, 72, 3.0))).cents) == 0


def test_overlapping_repeat_is_none() -> None:
    assert len(repeats(line((0, 480, 60, 0.0), (479, 900, 60, 3.0))).cents) == 0


def test_repeat_across_other_notes() -> None:
    """The D of ii and of V, with a C between: a comma apart in pure chords over a steady tonic."""
    notes = line((0, 480, 62, -17.6), (480, 600, 60, 0.0), (600, 900, 62, -17.6 + SYNTONIC_COMMA))
    found = comma_jumps(notes)
    assert (found.earlier.tolist(), found.later.tolist()) == ([0], [2])
    assert found.cents[0] == pytest.approx(SYNTONIC_COMMA)


def test_half_a_comma_counts_as_standing_still() -> None:
    assert len(comma_jumps(line((0, 480, 62, 0.0), (480, 600, 62, 10.7))).cents) == 0
    assert len(comma_jumps(line((0, 480, 62, 0.0), (480, 600, 62, -10.8))).cents) == 1


@pytest.mark.parametrize(
    ("keys", "ratio", "odd"),
    [
        ((64, 65), 16 / 15, False),  # diatonic semitone, 111.7
        ((64, 65), 25 / 24, False),  # small semitone, 70.7
        ((65, 64), 27 / 25, True),  # great limma, 133.2, downwards
        ((64, 65), 28 / 27, True),  # septimal third-tone, 63.0
        ((60, 62), 9 / 8, False),
        ((62, 60), 10 / 9, False),
        ((60, 62), 8 / 7, False),  # 231.2
        ((60, 62), 256 / 225, False),  # 223.5: two diatonic semitones
        ((60, 62), 135 / 128 * 16 / 15 * 81 / 80 * 81 / 80, True),  # two commas wide
        ((60, 63), 2.0, False),  # no step at all
    ],
)
def test_steps(keys: tuple[int, int], ratio: float, odd: bool) -> None:
    """Sizes by Ellis's list (Helmholtz 1885, App. XX sect. D)."""
    size = 1200 * math.log2(ratio)
    up = 1 if keys[1] > keys[0] else -1
    cents = up * size - 100 * (keys[1] - keys[0])
    found = odd_steps(line((0, 480, keys[0], 0.0), (480, 960, keys[1], cents)))
    assert len(found.cents) == odd
    if odd:
        assert found.cents[0] == pytest.approx(size)


def test_steps_need_one_voice_and_no_long_rest() -> None:
    wide = 60.0
    assert len(odd_steps(line((0, 480, 60, 0.0), (1439, 1500, 61, wide))).cents) == 1
    assert len(odd_steps(line((0, 480, 60, 0.0), (1440, 1500, 61, wide))).cents) == 0
    assert len(odd_steps(line((0, 500, 60, 0.0), (480, 960, 61, wide))).cents) == 1  # legato overlap
    chord = line((0, 480, 60, 0.0), (480, 960, 61, wide), (480, 960, 64, 0.0))
    assert len(odd_steps(chord).cents) == 0
    assert len(odd_steps(line((0, 480, 60, 0.0), (480, 960, 61, wide), part=(0, 1))).cents) == 0


@pytest.mark.parametrize("apart", [0, 10, 40])
def test_notes_of_a_chord_are_no_line_however_they_are_played(apart: int) -> None:
    """B and C struck as one, or 10 or 42 ms apart (120 to the minute), then D: a chord has no melodic step."""
    notes = line((0, 480, 59, 0.0), (apart, 480, 60, 50.0), (480, 960, 62, 0.0))
    assert len(odd_steps(notes).cents) == 0
    assert len(odd_steps(line((0, 480, 59, 0.0), (480, 960, 60, 50.0), (960, 1440, 62, 0.0))).cents) == 2

"""Metrical strength, and bars found where the harmony changes."""

import mido
import numpy as np
import pytest

from retune.harmony.evidence.cuts import gather_onsets
from retune.harmony.evidence.metre import notated_grid
from retune.harmony.evidence.steps import find_steps
from tests.harmony.build import TPQ, blocks, row, score_of


@pytest.mark.parametrize(
    ("meter", "places"),
    [
        ((4, 4), {0: 0, 2: 1, 1: 2, 3: 2, 0.5: 3, 0.25: 4, 0.1: 5, 4: 0}),
        ((3, 4), {0: 0, 1: 2, 2: 2, 1.5: 3, 3: 0}),
        (
            (6, 8),
            {0: 0, 1.5: 2, 3: 1, 0.75: 3, 6: 0},
        ),  # compound: beats of three eighths; four of them a cycle
        ((2, 4), {0: 0, 2: 1, 1: 2, 4: 0}),
    ],
)
def test_strength_of_places(meter, places):
    """Downbeat 0, half-bar 1, beat 2, half-beat 3, quarter 4 (common practice, no source)."""
    grid = notated_grid(score_of([(0, 1, 60)], meter=meter).meters)
    ticks = np.array([round(quarters * TPQ) for quarters in places])
    assert grid.strength(ticks).tolist() == list(places.values())


@pytest.mark.parametrize("late", [0.0, 0.3, 1.0, 2.5])
def test_bars_begin_where_the_harmony_changes(late):
    """Block chords, one a bar, under quarter notes; all of it so many beats late."""
    chords = [[48, 64, 67], [53, 60, 69], [43, 62, 71], [45, 60, 64], [50, 57, 65], [43, 59, 62]]
    voices = blocks(*chords, length=4.0)
    melody = [note for i, c in enumerate(chords) for note in row([c[1] + 12, c[2] + 12] * 2, 1.0, 4.0 * i)]
    score = score_of(*[[(s + late, d, k) for s, d, k in voice] for voice in [melody, *voices]])
    assert find_steps(score).grid.phase == pytest.approx(late, abs=0.03)


def test_clear_offbeat_rhythm_does_not_move_the_bars():
    """Chords on two and four of a notated bar, the bass and the changes on one."""
    notes = []
    for i, (bass, *above) in enumerate([[36, 64, 67], [41, 65, 69], [43, 62, 71], [36, 64, 67]] * 2):
        notes += [(4.0 * i, 4.0, bass)] + [(4.0 * i + b, 0.5, k) for b in (1, 3) for k in above]
    assert find_steps(score_of(notes)).grid.phase == 0.0


def test_onsets_gather_within_sixty_milliseconds():
    """At 120 to the minute and 480 ticks a quarter, 60 ms are 57.6 ticks."""
    clock = score_of([(0, 1, 60)], extra=[(0, mido.MetaMessage("marker", text="x"))]).clock
    onset = np.array([0, 30, 57, 58, 480, 537, 538, 600])
    assert gather_onsets(onset, clock).tolist() == [0, 58, 480, 538, 600]

"""The cause that is told is the one that holds. The tunings are written by hand, so that the cause is known."""

from pathlib import Path

import numpy as np
import pytest

from retune.harmony import find_harmony
from retune.options import Options
from retune.pipeline import analyze, tune
from retune.ratios import choose_ratios
from retune.tuning import Tuning, find_compromises
from retune.tuning.model import OFFSET_DTYPE
from tests.tuning.build import hints, score_of

C, E, F, G, A = 60, 64, 65, 67, 69
MINOR_THIRD, MAJOR_THIRD, FIFTH = 15.641, -13.686, 1.955  # 6/5, 5/4, 3/2 less 300, 400, 700 cents


TAG = Path(__file__).parents[2] / "sample_scores" / "close_harmony_tag.mid"


def reasons(rows, roots, displacement, length=2.0, **options):
    """Reasons for a tuning given as rows (part, start, length, key, offset in cents)."""
    score = score_of([row[:4] for row in rows])
    harmony = find_harmony(score, hints=hints(roots, length))
    cents = {(part, start * 480, key): offset for part, start, _, key, offset in rows}
    offsets = np.zeros(len(score.notes), dtype=OFFSET_DTYPE)
    for i, note in enumerate(score.notes):
        at = int(note["part"]), int(note["onset_tick"]), int(note["key"])
        offsets[i] = i, note["onset_tick"], note["release_tick"], cents[at]
    tuning = Tuning(offsets=offsets, displacement_cents=np.array(displacement))
    found = find_compromises(score, harmony, choose_ratios(harmony), tuning, Options(**options))
    return [compromise.reason for compromise in found]


def test_a_note_held_from_the_chord_in_which_it_is_pure():
    rows = [(0, 0, 4, C, MINOR_THIRD), (1, 0, 2, A, 0), (2, 0, 2, E, FIFTH)]
    rows += [(1, 2, 2, E, MAJOR_THIRD), (2, 2, 2, G, FIFTH)]
    assert reasons(rows, [(9, "min"), (0, "maj")], [0, 0]) == [
        f"the {interval} is 15.6 cents narrow: C is held from the Amin chord of bar 1, beat 1, "
        "but C wants it 15.6 cents lower"
        for interval in ("major third C–E", "fifth C–G")
    ]


def test_a_note_held_on_into_the_chord_in_which_it_is_pure():
    rows = [(0, 0, 4, C, 0), (1, 0, 2, A, 0), (2, 0, 2, E, FIFTH)]
    rows += [(1, 2, 2, E, MAJOR_THIRD), (2, 2, 2, G, FIFTH)]
    told = reasons(rows, [(9, "min"), (0, "maj")], [0, 0])
    assert len(told) == 2
    assert all(
        "C is held on into the C chord of bar 1, beat 3, but Amin wants it 15.6 cents higher" in why
        for why in told
    )


def test_a_note_struck_again_in_the_next_chord():
    rows = [(0, 0, 2, C, 0), (1, 0, 2, A, 0), (0, 2, 2, C, 0), (1, 2, 2, E, MAJOR_THIRD)]
    assert reasons(rows, [(9, "min"), (0, "maj")], [0, 0]) == [
        "the major sixth C–A is 15.6 cents wide: C is repeated in bar 1, beat 3, but Amin wants it 15.6 cents higher"
    ]


def test_a_note_that_follows_a_tied_one_is_traced_to_it():
    """The G of the second chord is a pure fifth over the held C; it is free itself."""
    rows = [(0, 0, 4, C, MINOR_THIRD), (1, 0, 2, A, 0), (2, 0, 2, E, FIFTH)]
    rows += [(1, 2, 2, G, MINOR_THIRD + FIFTH), (2, 2, 2, E, MAJOR_THIRD)]
    assert (
        "the minor third E–G is 15.6 cents wide: G is pure with the C of voice 0, which is held from the "
        "Amin chord of bar 1, beat 1, but C wants both 15.6 cents lower"
    ) in reasons(rows, [(9, "min"), (0, "maj")], [0, 0])


def test_a_note_is_not_said_to_be_pure_with_its_tritone():
    """C♯ and G of A7 miss their places by as much, but it is E, a minor third from C♯, that C♯ is pure with."""
    rows = [(0, 0, 4, G + 12, 15.64), (1, 0, 4, E, 0.0), (1, 2, 2, A, 7.0), (2, 2, 2, C + 1, -15.641)]
    rows += [(3, 0, 2, C, 0.0)]
    told = reasons(rows, [(0, "maj"), (9, "7")], [0, 7.0])
    assert any("C♯ is pure with the E of voice 1, which is held from the C chord" in why for why in told)
    assert not any("pure with the G" in why for why in told)


def test_a_passing_note_is_said_to_follow_the_line():
    """G–G♯–A over C–E: G♯ halves the way, which 8/5 above C (+13.7 cents) would not."""
    rows = [(0, 0, 4, C - 12, 0), (1, 0, 4, E, MAJOR_THIRD)]
    rows += [(2, 0, 1, G, FIFTH), (2, 1, 1, G + 1, -6.8), (2, 2, 2, A, -MINOR_THIRD)]
    told = reasons(rows, [(0, "maj")], [0], length=4.0)
    assert {why.split(": ")[1] for why in told} == {
        "G♯ is a passing note and follows the line, not the chord"
    }


def test_the_limit_is_named_only_where_it_keeps_the_chord_from_following_the_note():
    """C is held from F. Where it lies above its place in A minor at +15, that chord would have to pass +15."""
    for held, is_blocked in ((40.0, True), (20.0, False)):
        rows = [(0, 0, 4, C, held), (1, 0, 2, F, held - FIFTH), (1, 2, 2, A, 15.0)]
        told = reasons(rows, [(5, "maj"), (9, "min")], [held - FIFTH, 15.0])
        assert len(told) == 1
        assert "C is held from the F chord of bar 1, beat 1, but Amin wants it" in told[0]
        assert told[0].endswith("may not move past the drift limit of 15 cents to meet it") == is_blocked


def test_what_nothing_explains_is_said_to_cost_least():
    rows = [(0, 0, 4, C, 0), (1, 0, 4, E, 0)]
    assert reasons(rows, [(0, "maj")], [0], length=4.0) == [
        "the major third C–E is 13.7 cents wide: not every interval that sounds with C can be pure at once, and it "
        "costs least if this one is not"
    ]


@pytest.mark.parametrize("reference_hz", [415.0, 466.0])
def test_reasons_do_not_depend_on_the_reference(reference_hz):
    """Everything is lower or higher alike, so what gives way, by how much and why is the same."""
    told = []
    for reference in (440.0, reference_hz):
        tuning = tune(analyze(TAG.read_bytes(), Options(prime_limit=7, reference_hz=reference)))
        told.append([c.reason for c in (*tuning.compromises, *tuning.shifts)])
    assert told[0]
    assert told[0] == told[1]

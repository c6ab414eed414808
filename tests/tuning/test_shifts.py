"""Where a line gives way: a note struck again, or held, at another pitch."""

from dataclasses import replace

import pytest

from retune.tuning import find_shifts
from tests.encode.build import tuning_of
from tests.tuning.build import hints, score_of, tuned

C, E, F, G, A, B = 60, 64, 65, 67, 69, 71


def told(score, given, **options):
    harmony, ratios, tuning, chosen = tuned(score, given, **options)
    return find_shifts(score, harmony, ratios, tuning, chosen)


def test_a_repeated_note_that_changes_is_told_with_both_chords():
    """C is the third of A minor (6/5: +15.64 cents), then the root of C; both roots are pinned."""
    notes = [(0, 0, 2, C), (1, 0, 2, A - 12), (2, 0, 2, E), (3, 0, 2, A)]
    notes += [(0, 2, 2, C), (1, 2, 2, C - 12), (2, 2, 2, G), (3, 2, 2, C + 12)]
    (shift,) = told(
        score_of(notes, names={0: "Alto"}), hints([(9, "min"), (0, "maj")]), drift_limit_cents=0.0
    )
    assert shift.cents == pytest.approx(-15.641, abs=0.05)
    assert shift.tick == 960
    assert shift.reason == (
        "Alto repeats the C of bar 1, beat 1, 15.6 cents lower, to be pure in Amin there, in C here"
    )


@pytest.mark.parametrize(
    ("before", "after", "why"),
    [
        (15.641, 0.0, "to be pure in Amin there, in C here"),
        (8.0, 0.0, "to be pure in C"),
        (15.641, 5.0, "because to keep it would cost other intervals more"),
        (8.0, -5.0, "because to keep it would cost other intervals more"),
    ],
)
def test_the_reason_names_the_chords_in_which_the_note_is_pure(before, after, why):
    """C is 6/5 above A (15.641 cents over the tempered third), then the root; the roots stay where they are."""
    score = score_of([(0, 0, 2, C), (1, 0, 2, A - 12), (0, 2, 2, C), (1, 2, 2, C - 12)])
    harmony, ratios, tuning, chosen = tuned(score, hints([(9, "min"), (0, "maj")]), drift_limit_cents=0.0)
    cents = [{0: before, 960: after}[int(n["onset_tick"])] if n["key"] == C else 0.0 for n in score.notes]
    moved = replace(tuning, offsets=tuning_of(score, cents).offsets)
    (shift,) = find_shifts(score, harmony, ratios, moved, chosen)
    assert shift.reason.endswith(f" cents lower, {why}")


def test_a_note_that_takes_another_name_is_told_by_both():
    """F♯, third of D7 (5/4: −13.7), then G♭, seventh of A♭7 (9/5: +17.6); both roots are pinned."""
    notes = [(0, 0, 2, 66), (1, 0, 2, 50), (2, 0, 2, A), (3, 0, 2, C)]
    notes += [
        (0, 4, 2, 66),
        (1, 4, 2, 56),
        (2, 4, 2, 63),
        (3, 4, 2, C),
    ]  # after a rest: at once it would stay
    reasons = [s.reason for s in told(score_of(notes), hints([(2, "7"), (8, "7")]), drift_limit_cents=0.0)]
    assert (
        "voice 0 repeats the F♯ of bar 1, beat 1 as G♭, 31.3 cents higher, to be pure in D7 there, in A♭7 here"
        in reasons
    )


def test_a_held_note_that_may_move_is_told():
    notes = [(0, 0, 4, C), (1, 0, 2, A - 12), (2, 0, 2, E), (1, 2, 2, C - 12), (2, 2, 2, G)]
    given = hints([(9, "min"), (0, "maj")])
    options = {"drift_limit_cents": 0.0, "hold_limit_cents": 30.0}
    (shift,) = told(score_of(notes, names={0: "Alto"}), given, **options)
    assert shift.reason == ("Alto moves the C held from bar 1, beat 1, 15.6 cents lower, to where C wants it")
    assert told(score_of(notes), given, drift_limit_cents=0.0) == ()  # by default held notes do not move


@pytest.mark.parametrize(("cents", "count"), [(4.9, 0), (5.0, 1), (-4.9, 0), (-5.1, 1)])
def test_what_trained_ears_do_not_notice_is_not_told(cents, count):
    """Told from 5 cents on (docs/tuning.md), whether the note is struck again or held."""
    given = hints([(0, "maj"), (0, "maj")])
    again, held = [(0, 0, 2, C), (0, 2, 2, C)], [(0, 0, 4, C)]
    for notes, offsets in ((again, [0.0, cents]), (held, [[(0, 0.0), (960, cents)]])):
        score = score_of(notes)
        harmony, ratios, tuning, chosen = tuned(score, given)
        moved = replace(tuning, offsets=tuning_of(score, offsets).offsets)
        assert [s.cents for s in find_shifts(score, harmony, ratios, moved, chosen)] == [cents] * count


def test_still_lines_have_none():
    notes = [(0, 0, 2, C), (1, 0, 2, E), (0, 2, 2, C), (1, 2, 2, F)]
    assert told(score_of(notes), hints([(0, "maj"), (5, "maj")])) == ()

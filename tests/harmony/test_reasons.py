"""Explanations agree with what was found."""

import pytest

from retune.harmony import Hint, explain, find_harmony
from tests.harmony.build import TPQ, blocks, score_of

SCORE = score_of(*blocks([48, 64, 67], [53, 60, 69], [43, 62, 71], [48, 64, 67], length=4.0))


def test_winner_is_the_window_and_terms_add_up():
    harmony = find_harmony(SCORE)
    rows = explain(SCORE, harmony, 0, 16 * TPQ)
    assert [row.window for row in rows] == [0, 1, 2, 3]
    for row in rows:
        best, second, third = row.candidates
        assert best.root_pc == harmony.windows["root_pc"][row.window]
        assert 0 == best.behind < second.behind <= third.behind
        for candidate in row.candidates:
            assert sum(candidate.terms.values()) == pytest.approx(candidate.points)
            assert candidate.behind == pytest.approx(best.points - candidate.points)


def test_evidence_is_what_sounds():
    (row,) = explain(SCORE, find_harmony(SCORE), 5 * TPQ, 6 * TPQ)
    assert (row.slices[0].start_tick, row.slices[-1].end_tick) == (4 * TPQ, 8 * TPQ)
    assert {pc for s in row.slices for pc, amount in enumerate(s.amounts) if amount} == {5, 0, 9}
    assert {s.bass_pc for s in row.slices} == {5}


def test_given_window_says_so_and_shows_what_was_heard():
    hints = [Hint(start_tick=0, end_tick=4 * TPQ, root_pc=9, chord="min7")]
    first = explain(SCORE, find_harmony(SCORE, hints=hints), 0, 1)[0]
    assert first.given
    assert first.candidates[0].root_pc == 0


def test_nothing_to_explain():
    empty = score_of([])
    assert explain(empty, find_harmony(empty), 0, 100) == ()

"""Where the comma goes, and the words for it."""

from dataclasses import replace
from math import log2

import pytest

from retune.tuning import find_compromises
from tests.encode.build import tuning_of
from tests.tuning.build import chords, hints, score_of, tuned

C, D, E, F, G, A, B = 60, 62, 64, 65, 67, 69, 71


def told(score, given, **options):
    harmony, ratios, tuning, chosen = tuned(score, given, **options)
    return find_compromises(score, harmony, ratios, tuning, chosen)


def test_pure_music_needs_none():
    keys = [[C, E, G], [C, F, A], [B, D, G], [C, E, G]]
    roots = [(0, "maj"), (5, "maj"), (7, "maj"), (0, "maj")]
    assert told(score_of(chords(keys)), hints(roots)) == ()


@pytest.mark.parametrize(("off", "count"), [(1.9, 0), (2.1, 1), (-1.9, 0), (-2.1, 1)])
def test_what_is_within_two_cents_of_pure_is_no_compromise(off, count):
    """5/4 is 386.314 cents (Helmholtz/Ellis, App. XX); told from 2 cents on (docs/tuning.md)."""
    score = score_of(chords([[C, E]]))
    harmony, ratios, tuning, chosen = tuned(score, hints([(0, "maj")]))
    off_tune = replace(tuning, offsets=tuning_of(score, [0.0, -13.686 + off]).offsets)
    found = find_compromises(score, harmony, ratios, off_tune, chosen)
    assert [c.cents for c in found] == pytest.approx([off] * count, abs=0.001)


def test_a_comma_pump_is_told_with_place_size_and_cause():
    keys = [[C, E, G], [C, E, A], [D, F, A], [B, D, G], [C, E, G]] * 4
    roots = [(0, "maj"), (9, "min"), (2, "min"), (7, "maj"), (0, "maj")] * 4
    score = score_of(chords(keys))
    found = told(score, hints(roots), hold_limit_cents=0.0)
    assert found, "a pump inside a drift limit must give way somewhere"
    assert all(abs(c.cents) > 2.0 for c in found)
    assert all(c.tick == 960 * c.window for c in found)
    assert any("is held from" in c.reason and "but" in c.reason for c in found)
    assert list(found) == sorted(found, key=lambda c: c.tick)


def test_a_fixed_part_is_named_as_the_cause():
    notes = [(0, 0, 4, C), (1, 0, 4, E)]
    score = score_of(notes, names={0: "Piano", 1: "Organ"})
    found = told(score, hints([(0, "maj")], length=4.0), fixed=("Piano", "Organ"))
    assert len(found) == 1
    assert found[0].cents == pytest.approx(13.686, abs=0.01)
    assert found[0].reason == "the major third C–E is 13.7 cents wide: Piano and Organ are fixed"


def test_a_chord_that_has_no_pure_form_says_so():
    """Four minor thirds of 6/5 pass the octave by the greater diesis, 648/625 or 62.6 cents (Barbour 1951)."""
    found = told(score_of(chords([[C, 63, 66, A]])), hints([(0, "dim7")]))
    assert [c.reason for c in found] == [
        f"the {interval}: no ratios make every interval of B♯dim7 pure"
        for interval in (
            "major sixth B♯–A, written as a diminished seventh, is 41.1 cents wide",
            "minor third D♯–F♯ is 21.5 cents narrow",
        )
    ]
    assert sum(abs(c.cents) for c in found) == pytest.approx(1200 * log2(648 / 625), abs=0.01)


def test_doublings_are_told_once():
    notes = [(0, 0, 4, C - 12), (1, 0, 4, C), (2, 0, 4, E)]
    score = score_of(notes, names={0: "Low", 1: "Piano", 2: "Organ"})
    assert len(told(score, hints([(0, "maj")], length=4.0), fixed=("Low", "Piano", "Organ"))) == 1


def test_a_third_and_its_inversion_are_one_place():
    """C–E a major third below, E–C a minor sixth above it: the same two notes of the scale."""
    notes = [(0, 0, 4, C), (1, 0, 4, E), (2, 0, 4, C + 12)]
    score = score_of(notes, names={0: "Low", 1: "Piano", 2: "Organ"})
    (found,) = told(score, hints([(0, "maj")], length=4.0), fixed=("Low", "Piano", "Organ"))
    assert found.reason.startswith("the m")


def test_a_drift_limit_that_stops_a_chord_is_named():
    keys = [[C, E, G], [C, E, A], [D, F, A], [B, D, G], [C, E, G]] * 4
    roots = [(0, "maj"), (9, "min"), (2, "min"), (7, "maj"), (0, "maj")] * 4
    score = score_of(chords(keys))
    harmony, ratios, tuning, chosen = tuned(score, hints(roots), drift_limit_cents=2.5, fixed=())
    told_limits = find_compromises(score, harmony, ratios, tuning, chosen)
    assert any("past the drift limit of 2.5 cents" in c.reason for c in told_limits)


def test_a_ratio_of_the_chord_that_is_no_plain_consonance_is_named():
    """D–F in G7 at prime limit 7 is 7/6, which 6/5 of a fixed part misses by 36/35 (48.77 cents)."""
    notes = [(0, 0, 4, 55), (1, 0, 4, 62), (2, 0, 4, 65)]
    score = score_of(notes, names={1: "Piano", 2: "Organ"})
    found = told(score, hints([(7, "7")], length=4.0), fixed=("Piano", "Organ"), prime_limit=7)
    assert any("minor third D–F is 33.1 cents wider than 7/6" in c.reason for c in found)

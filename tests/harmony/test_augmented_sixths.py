"""Augmented sixths in C minor: named by where they go, spelled with F♯, tuned so (common practice, no source)."""

import numpy as np
import pytest
import sympy

from retune.harmony import find_harmony
from retune.harmony.spelling import chord_label, spell_in_chord
from retune.options import Options
from retune.ratios import choose_ratios
from retune.tuning import solve_tuning
from tests.harmony.build import blocks, score_of

TONIC, FOURTH, FIFTH = [48, 60, 63, 67], [53, 60, 65, 68], [43, 62, 67, 71]
SIXTHS = {"It+6": [44, 60, 66, 72], "Ger+6": [44, 60, 63, 66], "Fr+6": [44, 60, 62, 66]}


def labels(*chords):
    harmony = find_harmony(score_of(*blocks(*chords)))
    return [chord_label(w, harmony.key_at(int(w["start_tick"]))) for w in harmony.windows]


@pytest.mark.parametrize("symbol", SIXTHS)
def test_it_is_named_by_the_voices_that_lead_to_the_dominant(symbol):
    dominant = [43, 59, 62, 67] if symbol != "It+6" else FIFTH
    assert labels(TONIC, FOURTH, SIXTHS[symbol], dominant, TONIC)[2] == f"A♭ {symbol}"


def test_it_may_lead_to_the_dominant_by_way_of_the_six_four_chord():
    found = labels(TONIC, FOURTH, SIXTHS["Ger+6"], [43, 60, 63, 67], [43, 59, 62, 67], TONIC)
    assert found[2:5] == ["A♭ Ger+6", "Cmin/G", "G"]


def test_its_sixth_may_go_on_late_where_the_bass_goes_from_sixth_to_fifth_degree():
    upper = [(0, 2, 67), (2, 2, 68), (4, 2, 66), (6, 2, 74), (8, 1, 67), (9, 1, 71), (10, 4, 72)]
    rest = blocks([48, 60, 63], [53, 60, 65], [44, 60, 63], [43, 59, 62], [43, 59, 62], [48, 60, 63])
    harmony = find_harmony(score_of(upper, *rest))
    found = [chord_label(w, harmony.key_at(int(w["start_tick"]))) for w in harmony.windows]
    assert found[2] == "A♭ Ger+6"


def test_the_same_tones_that_resolve_as_a_dominant_seventh_are_one():
    assert "A♭7" in labels(TONIC, SIXTHS["Ger+6"], [49, 61, 65], TONIC)


def test_over_the_sixth_degree_it_is_one_unless_its_sixth_falls():
    """A♭ to G in C minor: G♭ that goes down to F is a seventh, F♯ from which no voice goes on is not."""
    falls = labels(TONIC, FOURTH, SIXTHS["Ger+6"], [43, 59, 62, 65], TONIC)
    assert falls[2:4] == ["A♭7", "G7"]
    leaps = labels(TONIC, FOURTH, SIXTHS["Ger+6"], [43, 59, 62, 71], TONIC)
    assert leaps[2:4] == ["A♭ Ger+6", "G"]


def test_the_same_bass_with_a_triad_or_a_major_seventh_is_none():
    for chord, name in (([44, 60, 63, 68], "A♭"), ([44, 60, 63, 67], "A♭maj7")):
        assert labels(TONIC, FOURTH, chord, [43, 59, 62, 67], TONIC)[2] == name


def test_its_sixth_is_spelled_as_a_sixth():
    harmony = find_harmony(score_of(*blocks(TONIC, FOURTH, SIXTHS["Ger+6"], [43, 59, 62, 67], TONIC)))
    window, key = harmony.windows[2], harmony.key_at(4 * 480)
    assert [spell_in_chord(pc, window, key) for pc in (8, 0, 3, 6)] == ["A♭", "C", "E♭", "F♯"]


def test_the_neapolitan_sixth_over_its_tonic_has_flats_for_a_root():
    """D♭ F A♭ B before C, in C: D♭ is a minor second above C."""
    harmony = find_harmony(
        score_of(*blocks(TONIC, FOURTH, [49, 65, 68, 71], [48, 64, 67, 72], [48, 64, 67, 72]))
    )
    window = harmony.windows[2]
    assert chord_label(window, harmony.key_at(4 * 480)) == "D♭ Ger+6"
    assert spell_in_chord(11, window, harmony.key_at(4 * 480)) == "B"


@pytest.mark.parametrize(("limit", "ratio"), [(5, "225/128"), (7, "7/4")])
def test_its_sixth_is_tuned(limit, ratio):
    """225/128: the leading note 15/8 of the dominant 3/2, above the minor sixth 8/5 of the tonic."""
    harmony = find_harmony(score_of(*blocks(TONIC, FOURTH, SIXTHS["Ger+6"], [43, 59, 62, 67], TONIC)))
    ratios = choose_ratios(harmony, prime_limit=limit)
    assert ratios.tables[ratios.table_of_window[2]].rationals[10] == sympy.Rational(ratio)
    fifth = sympy.Rational(15, 8) * sympy.Rational(3, 2) / 2
    assert fifth / sympy.Rational(8, 5) * 2 == sympy.Rational(225, 128)


@pytest.mark.parametrize("symbol", SIXTHS)
def test_the_sixth_sounds_as_its_ratio_says(symbol):
    """Although E♭–F♯ is as wide as a minor third on the keyboard, it is not drawn to 6/5."""
    dominant = [43, 59, 62, 67] if symbol != "It+6" else FIFTH
    score = score_of(*blocks(TONIC, FOURTH, SIXTHS[symbol], dominant, TONIC))
    harmony = find_harmony(score)
    tuning = solve_tuning(score, harmony, choose_ratios(harmony), Options())
    keys = score.notes["key"].tolist()
    low, high = (np.array([keys.index(key)]) for key in (44, 66))
    middle = np.array([5 * 480])
    cents = float(tuning.at(high, middle)[0] - tuning.at(low, middle)[0])
    assert abs(cents - (1200 * np.log2(225 / 128) - 1000)) < 1.0

"""Comma pumps against their published sizes.

The cycles I vi ii V I and C G D A E C and their comma are stated in many texts; the Benedetti passage is described
by R. Duffin, "Benedetti's Puzzles", companion to *MTO* 12.3 (2006), the Huygens one is quoted there. Cents are
1200·log2 of the exact ratios, computed here with sympy.
"""

from math import inf

import numpy as np
import pytest
import sympy

from tests.tuning.build import chords, hints, offsets_at, score_of, tuned

C, D, E, F, G, A = 60, 62, 64, 65, 67, 69
SYNTONIC = float(1200 * sympy.log(sympy.Rational(81, 80), 2))

# name, chords (keys), roots, expected drift of a cycle as an exact ratio
PUMPS = [
    (
        "I vi ii V I",
        [[C, E, G], [C, E, A], [D, F, A], [D, G, 71], [C, E, G]],
        [(0, "maj"), (9, "min"), (2, "min"), (7, "maj"), (0, "maj")],
        sympy.Rational(80, 81),
    ),
    (
        "I IV ii V I",
        [[C, E, G], [C, F, A], [D, F, A], [D, G, 71], [C, E, G]],
        [(0, "maj"), (5, "maj"), (2, "min"), (7, "maj"), (0, "maj")],
        sympy.Rational(80, 81),
    ),
    (
        "I V ii vi I",
        [[C, E, G], [D, G, 71], [D, F, A], [C, E, A], [C, E, G]],
        [(0, "maj"), (7, "maj"), (2, "min"), (9, "min"), (0, "maj")],
        sympy.Rational(81, 80),
    ),
    (
        "three major thirds up",
        [[C, E, G], [59, E, 68], [60, 63, 68], [C, E, G]],
        [(0, "maj"), (4, "maj"), (8, "maj"), (0, "maj")],
        sympy.Rational(125, 128),
    ),
    (
        "four minor thirds up",
        [[C, E, G], [63, G, 70], [61, 66, 70], [61, E, 69], [C, E, G]],
        [(0, "maj"), (3, "maj"), (6, "maj"), (9, "maj"), (0, "maj")],
        sympy.Rational(648, 625),
    ),
    (
        "diaschisma: C E B F sharp B flat F C",
        [[C, E, G], [59, E, 68], [59, 63, 66], [61, 66, 70], [62, 65, 70], [C, F, 69], [C, E, G]],
        [(0, "maj"), (4, "maj"), (11, "maj"), (6, "maj"), (10, "maj"), (5, "maj"), (0, "maj")],
        sympy.Rational(2025, 2048),
    ),
]


def cycle(
    keys: list[list[int]], roots: list[tuple[int, str]], times: int
) -> tuple[list[list[int]], list[tuple[int, str]]]:
    """The cycle played several times, last chord = first of the next."""
    return keys[:-1] * times + keys[-1:], roots[:-1] * times + roots[-1:]


@pytest.mark.parametrize(("keys", "roots", "ratio"), [p[1:] for p in PUMPS], ids=[p[0] for p in PUMPS])
@pytest.mark.parametrize("times", [1, 3])
def test_without_limits_a_pump_drifts_by_its_comma(keys, roots, ratio, times):
    all_keys, all_roots = cycle(keys, roots, times)
    score = score_of(chords(all_keys))
    _, _, tuning, _ = tuned(
        score, hints(all_roots), drift_limit_cents=inf, hold_limit_cents=0.0, line_weight=0.0
    )
    expected = times * float(1200 * sympy.log(ratio, 2))
    assert tuning.displacement_cents[-1] - tuning.displacement_cents[0] == pytest.approx(expected, abs=0.01)
    first, last = offsets_at(score, tuning, 1.0), offsets_at(score, tuning, 2.0 * len(all_keys) - 1.0)
    assert last[E] - last[C] == pytest.approx(-13.6863, abs=0.01)  # 5/4, Helmholtz/Ellis
    assert last[C] - first[C] == pytest.approx(expected, abs=0.01)


def test_without_limits_a_long_pump_drifts_by_its_comma_every_time():
    """Forty cycles end 860 cents lower, and the pull towards home does not make one of them smaller."""
    keys, roots = cycle(*PUMPS[0][1:3], 40)
    _, _, tuning, _ = tuned(score_of(chords(keys)), hints(roots), drift_limit_cents=inf)
    homes = tuning.displacement_cents[::4]
    np.testing.assert_allclose(np.diff(homes), -SYNTONIC, atol=0.001)


def test_five_cycles_pass_a_semitone():
    """5 × 21.506 = 107.5: a semitone is passed during the fifth cycle (computed from 81/80)."""
    keys, roots = cycle(PUMPS[0][1], PUMPS[0][2], 5)
    _, _, tuning, _ = tuned(score_of(chords(keys)), hints(roots), drift_limit_cents=inf, hold_limit_cents=0.0)
    drift = tuning.displacement_cents[-1] - tuning.displacement_cents[0]
    assert drift == pytest.approx(-5 * SYNTONIC, abs=0.05)
    assert drift < -100.0


@pytest.mark.parametrize("limit", [0.0, 5.0, 15.0, 25.0])
@pytest.mark.parametrize(("keys", "roots"), [p[1:3] for p in PUMPS], ids=[p[0] for p in PUMPS])
def test_a_drift_limit_is_never_passed(keys, roots, limit):
    all_keys, all_roots = cycle(keys, roots, 4)
    score = score_of(chords(all_keys))
    _, _, tuning, _ = tuned(score, hints(all_roots), drift_limit_cents=limit)
    assert np.abs(tuning.displacement_cents).max() <= limit + 1e-9
    for i, (root, _) in enumerate(all_roots):
        for key, offset in offsets_at(score, tuning, 2.0 * i + 1.0).items():
            if key % 12 == root:
                assert abs(offset) <= limit + 1e-9


def test_drift_limit_zero_keeps_every_root_on_its_equal_tempered_pitch():
    keys, roots = cycle(PUMPS[0][1], PUMPS[0][2], 3)
    _, _, tuning, _ = tuned(score_of(chords(keys, tie=False)), hints(roots), drift_limit_cents=0.0)
    assert np.all(tuning.displacement_cents == 0.0)


def test_seventh_held_from_iv_costs_a_septimal_comma():
    """I IV V7 I with V7 = 4:5:6:7 and F held: 64/63 = 27.264 cents (Archytas' comma)."""
    keys = [[C, E, G], [C, F, A], [59, D, F, G], [C, E, G]]
    roots = [(0, "maj"), (5, "maj"), (7, "7"), (0, "maj")]
    _, _, tuning, _ = tuned(
        score_of(chords(keys)), hints(roots), drift_limit_cents=inf, hold_limit_cents=0.0, prime_limit=7
    )
    expected = float(1200 * sympy.log(sympy.Rational(64, 63), 2))
    assert tuning.displacement_cents[-1] - tuning.displacement_cents[0] == pytest.approx(expected, abs=0.01)


def test_benedetti_rises_a_comma_each_time():
    """C–G, G–D, D–A, A–C in pure fifths, fourths and a sixth, every second note tied: up 81/80 a repetition."""
    line = [(0, 0.0, 2.0, C), (1, 1.0, 2.0, G), (0, 2.0, 2.0, D), (1, 3.0, 2.0, A)]
    notes = [(p, s + 4.0 * k, length, key) for k in range(3) for p, s, length, key in line]
    notes.append((0, 12.0, 2.0, C))
    score = score_of(notes)
    _, _, tuning, _ = tuned(score, drift_limit_cents=inf, hold_limit_cents=0.0, line_weight=0.0)
    found = [offsets_at(score, tuning, 0.5 + 4.0 * k)[C] for k in range(3)]
    assert found[1] - found[0] == pytest.approx(SYNTONIC, abs=0.01)
    assert found[2] - found[1] == pytest.approx(SYNTONIC, abs=0.01)

"""Exact interval arithmetic and the candidates of each semitone."""

import pytest
import sympy
from hypothesis import given
from hypothesis import strategies as st

from retune.options import PRIME_LIMITS
from retune.ratios.intervals import candidates, complexity, reduced
from retune.units import ratio_to_cents

# Intervals of Helmholtz/Ellis 1885 App. XX and Barbour 1951 within an octave and prime 13, by semitone;
# left out are those whose place is taken by eight simpler ones.
PUBLISHED = {
    3: {1: "256/243", 2: "9/8", 3: "32/27", 4: "81/64", 5: "4/3", 6: "729/512", 7: "3/2", 8: "128/81",
        9: "27/16", 10: "16/9", 11: "243/128"},
    5: {1: "25/24 135/128 16/15 27/25", 2: "10/9 9/8", 3: "75/64 32/27 6/5", 4: "5/4 81/64 32/25",
        5: "4/3 27/20", 6: "25/18 45/32 64/45 36/25", 7: "40/27 3/2", 8: "25/16 128/81 8/5",
        9: "5/3 27/16 128/75", 10: "16/9 9/5", 11: "15/8 243/128 48/25"},
    7: {1: "25/24 21/20 16/15 15/14 28/27", 2: "10/9 9/8 8/7", 3: "7/6 32/27 6/5", 4: "5/4 32/25 9/7",
        5: "21/16 4/3 27/20", 6: "25/18 7/5 45/32 10/7 36/25", 7: "40/27 3/2 32/21", 8: "14/9 25/16 8/5",
        9: "5/3 12/7", 10: "7/4 16/9 9/5", 11: "28/15 15/8 48/25"},
}  # fmt: skip


@pytest.mark.parametrize("limit", PUBLISHED)
def test_published_intervals_are_candidates(limit):
    for step, texts in PUBLISHED[limit].items():
        found = {sympy.Rational(*pair) for pair in candidates(limit)[step]}
        assert {sympy.Rational(text) for text in texts.split()} <= found


@pytest.mark.parametrize("limit", PRIME_LIMITS)
def test_candidates_keep_the_prime_limit_and_lie_near_their_semitone(limit):
    for step, pairs in enumerate(candidates(limit)):
        assert pairs
        for numerator, denominator in pairs:
            assert max({1, *sympy.factorint(numerator), *sympy.factorint(denominator)} - {2}) <= limit
            assert sympy.gcd(numerator, denominator) == 1
            assert abs(ratio_to_cents(numerator, denominator) - 100 * step) < 50
        heights = [n * d for n, d in pairs]
        assert heights == sorted(heights)


@given(st.integers(1, 10**9), st.integers(1, 10**9))
def test_reduced_is_the_same_pitch_class_within_an_octave(numerator, denominator):
    pair = reduced(numerator, denominator)
    octaves = sympy.Rational(numerator, denominator) / sympy.Rational(*pair)
    assert 1 <= sympy.Rational(*pair) < 2
    assert set(sympy.factorint(octaves.p * octaves.q)) <= {1, 2}


@given(st.integers(1, 5000), st.integers(1, 5000), st.integers(1, 5000), st.integers(1, 5000))
def test_complexity_is_that_of_the_exact_quotient(a, b, c, d):
    quotient = sympy.Rational(c, d) / sympy.Rational(a, b)
    assert complexity((a, b), (c, d)) == quotient.p * quotient.q


@pytest.mark.parametrize(
    ("ratio", "height"),
    [("3/2", 2.58), ("4/3", 3.58), ("5/4", 4.32), ("6/5", 4.91), ("7/4", 4.81), ("45/32", 10.49)],
)
def test_harmonic_distance_of_published_ratios(ratio, height):
    """Tenney 1983, log2(n·d) to two decimals."""
    pair = sympy.Rational(ratio)
    assert abs(sympy.log(complexity((1, 1), (int(pair.p), int(pair.q))), 2) - height) < 0.005

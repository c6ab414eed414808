"""Exact intervals as integer pairs, and which of them may stand for each semitone under a prime limit.

A pair is (numerator, denominator) in lowest terms. The measure of simplicity is Tenney's harmonic distance
log2(n·d) (J. Tenney, *John Cage and the Theory of Harmony*, 1983); the integers n·d themselves order ratios
the same way and stay exact.
"""

from __future__ import annotations

from functools import cache
from itertools import product
from math import gcd

from retune.options import PRIME_LIMITS
from retune.units import ratio_to_cents

Pair = tuple[int, int]

LARGEST_EXPONENT = {3: 5, 5: 3, 7: 2, 11: 1, 13: 1}
"""How often a prime may occur in a candidate; chosen so that every ratio of the interval tables of
Helmholtz/Ellis 1885 (App. XX) up to prime 13 is reached."""
PYTHAGOREAN_EXPONENT = 11  # with 3 alone, the whole circle of fifths either way
CANDIDATE_BAND_CENTS = 50.0  # a candidate stands for the nearest semitone
CANDIDATES_PER_SEMITONE = 8  # the simplest ones


def reduced(numerator: int, denominator: int) -> Pair:
    """Reduce a ratio to lowest terms and by octaves into 1 <= ratio < 2."""
    while numerator < denominator:
        numerator *= 2
    while numerator >= 2 * denominator:
        denominator *= 2
    common = gcd(numerator, denominator)
    return numerator // common, denominator // common


def complexity(lower: Pair, upper: Pair) -> int:
    """n·d of the interval between two ratios: 2 to the power of its harmonic distance."""
    numerator, denominator = upper[0] * lower[1], upper[1] * lower[0]
    common = gcd(numerator, denominator)
    return numerator * denominator // (common * common)


@cache
def candidates(prime_limit: int) -> tuple[tuple[Pair, ...], ...]:
    """List for each of the twelve semitones the simplest ratios within the prime limit, simplest first."""
    primes = [p for p in PRIME_LIMITS if p <= prime_limit]
    spans = [PYTHAGOREAN_EXPONENT if prime_limit == 3 else LARGEST_EXPONENT[p] for p in primes]
    found: list[list[Pair]] = [[] for _ in range(12)]
    for exponents in product(*(range(-span, span + 1) for span in spans)):
        numerator = denominator = 1
        for prime, exponent in zip(primes, exponents, strict=True):
            if exponent > 0:
                numerator *= prime**exponent
            else:
                denominator *= prime**-exponent
        pair = reduced(numerator, denominator)
        semitone = round(ratio_to_cents(*pair) / 100.0)
        if semitone < 12 and abs(ratio_to_cents(*pair) - 100.0 * semitone) < CANDIDATE_BAND_CENTS:
            found[semitone].append(pair)
    found[0] = [(1, 1)]
    return tuple(
        tuple(sorted(pairs, key=lambda pair: (pair[0] * pair[1], pair))[:CANDIDATES_PER_SEMITONE])
        for pairs in found
    )

"""The chord table against published figures and its own promises, in exact arithmetic."""

from itertools import product

import pytest
import sympy

from retune.harmony.vocabulary import CHORD_TYPES, INDEX_OF_SYMBOL
from retune.options import PRIME_LIMITS
from retune.ratios.choose import chord_tones
from retune.ratios.intervals import candidates
from retune.ratios.table import CHORD_ROWS, SOURCES

# "Chords of Just Intonation", one-page orchestra hand-out (copies: Juneau Symphony, Round Top Festival):
# whole cents to add to a tuner's zero for each tone above the root.
HAND_OUT = [
    ("maj", 5, {4: -14, 7: 2}),
    ("min", 5, {3: 16, 7: 2}),
    ("dim", 7, {3: 16, 6: -17}),
    ("7", 7, {4: -14, 7: 2, 10: -31}),
    ("maj7", 5, {4: -14, 7: 2, 11: -12}),
    ("min7", 5, {3: 16, 7: 2, 10: 18}),
    ("min7b5", 7, {3: 16, 6: -17, 10: 18}),
    ("6", 5, {4: -14, 7: 2, 9: -16}),
    ("9", 7, {4: -14, 7: 2, 10: -31, 2: 4}),
    ("maj9", 5, {4: -14, 7: 2, 11: -12, 2: 4}),
]

# Tones above the root in cents, two decimals (Helmholtz/Ellis 1885 and Barbour 1951 for the intervals).
IN_CENTS = [
    ("maj", 3, {4: 407.82, 7: 701.96}),
    ("maj", 5, {4: 386.31, 7: 701.96}),
    ("min", 3, {3: 294.13, 7: 701.96}),
    ("min", 5, {3: 315.64, 7: 701.96}),
    ("dim", 5, {3: 315.64, 6: 631.28}),
    ("dim", 7, {3: 315.64, 6: 582.51}),
    ("aug", 5, {4: 386.31, 8: 772.63}),
    ("sus4", 3, {5: 498.04, 7: 701.96}),
    ("sus2", 3, {2: 203.91, 7: 701.96}),
    ("7", 5, {4: 386.31, 7: 701.96, 10: 1017.60}),
    ("7", 7, {4: 386.31, 7: 701.96, 10: 968.83}),
    ("minmaj7", 5, {3: 315.64, 7: 701.96, 11: 1088.27}),
    ("dim7", 7, {3: 315.64, 6: 582.51, 9: 884.36}),
    ("min6", 5, {3: 315.64, 7: 701.96, 9: 884.36}),
    ("6/9", 5, {4: 386.31, 7: 701.96, 9: 884.36, 2: 203.91}),
    ("add9", 5, {4: 386.31, 7: 701.96, 2: 203.91}),
    ("min9", 5, {3: 315.64, 7: 701.96, 10: 1017.60, 2: 203.91}),
    ("7#9", 7, {4: 386.31, 7: 701.96, 10: 968.83, 3: 315.64}),
    ("7sus4", 3, {5: 498.04, 7: 701.96, 10: 996.09}),
    ("maj7#11", 5, {4: 386.31, 7: 701.96, 11: 1088.27, 6: 590.22}),
    ("maj7#11", 11, {6: 551.32}),
    ("13", 7, {4: 386.31, 7: 701.96, 10: 968.83, 2: 203.91, 9: 884.36}),
    ("7#5", 13, {4: 386.31, 8: 840.53, 10: 968.83}),
    ("7b5", 7, {4: 386.31, 6: 582.51, 10: 968.83}),
]

PURE = {step: sympy.Rational(text) for step, text in
        {3: "6/5", 4: "5/4", 5: "4/3", 7: "3/2", 8: "8/5", 9: "5/3"}.items()}  # fmt: skip


def exact_cents(pair):
    return 1200 * sympy.log(sympy.Rational(*pair), 2)


@pytest.mark.parametrize(("symbol", "limit", "cents"), HAND_OUT)
def test_rows_match_the_orchestra_hand_out(symbol, limit, cents):
    tones = chord_tones(INDEX_OF_SYMBOL[symbol], limit)
    assert {step: round(exact_cents(tones[step]) - 100 * step) for step in cents} == cents
    assert set(tones) == {0, *cents}


@pytest.mark.parametrize(("symbol", "limit", "cents"), IN_CENTS)
def test_rows_match_published_cents(symbol, limit, cents):
    tones = chord_tones(INDEX_OF_SYMBOL[symbol], limit)
    for step, published in cents.items():
        assert abs(exact_cents(tones[step]) - published) < 0.00501


@pytest.mark.parametrize("row", CHORD_ROWS, ids=lambda row: f"{row.symbol}@{row.prime_limit}")
def test_integers_say_what_the_ratios_are(row):
    """The row's integers divided by the first one give the tones, octaves aside, in the chord's own order."""
    tones = chord_tones(INDEX_OF_SYMBOL[row.symbol], row.prime_limit)
    root, *others = (sympy.Integer(text) for text in row.integers.split(":"))
    folded = {n / root / 2 ** sympy.floor(sympy.log(n / root, 2)) for n in (root, *others)}
    assert folded == {sympy.Rational(*pair) for pair in tones.values()}
    assert tuple(tones) == CHORD_TYPES[INDEX_OF_SYMBOL[row.symbol]].intervals
    assert sympy.gcd_list([root, *others]) == 1
    assert [root, *others] == sorted([root, *others]), "voiced upwards, as chords are spelled"


@pytest.mark.parametrize("row", CHORD_ROWS, ids=lambda row: f"{row.symbol}@{row.prime_limit}")
def test_rows_keep_their_prime_limit_and_need_it(row):
    tones = chord_tones(INDEX_OF_SYMBOL[row.symbol], row.prime_limit)
    primes = {p for pair in tones.values() for n in pair for p in sympy.factorint(n)} - {1, 2}
    assert max(primes, default=3) == row.prime_limit


def test_rows_are_in_order_and_unique():
    order = [(INDEX_OF_SYMBOL[row.symbol], row.prime_limit) for row in CHORD_ROWS]
    assert order == sorted(set(order))
    assert {row.prime_limit for row in CHORD_ROWS} <= set(PRIME_LIMITS)


def test_every_row_names_a_source_or_says_there_is_none():
    known = (*SOURCES, "common practice, no source", "nothing to tune")
    assert all(any(name in row.source for name in known) for row in CHORD_ROWS)


def consonant_pairs_off(tones):
    """How many thirds, fourths, fifths and sixths between chord tones are not pure."""
    steps = sorted(tones)
    return sum(
        sympy.Rational(*tones[high]) / sympy.Rational(*tones[low]) != PURE[high - low]
        for low in steps for high in steps if low < high and high - low in PURE
    )  # fmt: skip


@pytest.mark.parametrize(
    "symbol",
    [k.symbol for k in CHORD_TYPES if len(k.intervals) <= 4 and k.symbol not in ("dim7", "Ger+6")],
)
def test_no_other_ratios_make_more_pairs_pure(symbol):
    """The promise of the table at prime limit 5, by trying all candidates.

    What sounds like a third in a German sixth, E♭–F♯, is an augmented second.
    """
    index = INDEX_OF_SYMBOL[symbol]
    steps = CHORD_TYPES[index].intervals
    own = consonant_pairs_off(chord_tones(index, 5))
    simplest = [candidates(5)[step][:4] for step in steps]
    best = min(consonant_pairs_off(dict(zip(steps, choice, strict=True))) for choice in product(*simplest))
    assert own == best


def test_the_diminished_seventh_is_made_of_the_just_scale_it_leads_home_to():
    """Leading note 15/8, second 9/8, fourth 4/3 and minor sixth 8/5 (Helmholtz/Ellis, App. XX)."""
    leading = sympy.Rational(15, 8)
    scale = [leading, sympy.Rational(9, 4), sympy.Rational(8, 3), sympy.Rational(16, 5)]
    tones = chord_tones(INDEX_OF_SYMBOL["dim7"], 5)
    assert [sympy.Rational(*tones[step]) for step in (0, 3, 6, 9)] == [tone / leading for tone in scale]


@pytest.mark.parametrize(
    ("symbol", "left_over"),
    [("add9", 0), ("minadd9", 0), ("9", 0), ("maj9", 0), ("min9", 0), ("7#9", 0), ("maj7#11", 0), ("7b9", 1),
     ("6/9", 1), ("9sus4", 1), ("min11", 1), ("13", 1)],
)  # fmt: skip
def test_large_chords_leave_at_most_one_pair_impure(symbol, left_over):
    assert consonant_pairs_off(chord_tones(INDEX_OF_SYMBOL[symbol], 5)) == left_over

"""Harmony to ratios: which table a window gets, and what the general rule finds."""

from itertools import pairwise, product

import numpy as np
import pytest
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.errors import OptionError
from retune.harmony.model import KEY_DTYPE, PIECE_DTYPE, WINDOW_DTYPE, Harmony
from retune.harmony.vocabulary import CHORD_TYPES, INDEX_OF_SYMBOL
from retune.options import PRIME_LIMITS
from retune.ratios import RatioTable, choose_ratios
from retune.ratios.choose import chord_tones, least_distance, table_for
from retune.ratios.intervals import candidates

MEMBERS = st.integers(0, 4095).map(lambda bits: bits | 1)


def harmony_of(*chords):
    """One quarter a window; a chord is a symbol or a bit set of members without a name."""
    windows = np.zeros(len(chords), WINDOW_DTYPE)
    for row, chord in zip(windows, chords, strict=True):
        named = isinstance(chord, str)
        row["chord"] = INDEX_OF_SYMBOL[chord] if named else -1
        row["members"] = CHORD_TYPES[row["chord"]].members if named else chord
    windows["start_tick"] = np.arange(len(chords)) * 480
    windows["end_tick"] = windows["start_tick"] + 480
    return Harmony(windows=windows, pieces=np.zeros(0, PIECE_DTYPE), keys=np.zeros(0, KEY_DTYPE))


def bits(*steps):
    return sum(1 << step for step in steps)


def table(ratios):
    """A RatioTable from ratios written out."""
    return RatioTable(tuple((int(r.p), int(r.q)) for r in map(sympy.Rational, ratios.split())))


JUST = table("1 16/15 9/8 6/5 5/4 4/3 45/32 3/2 8/5 5/3 9/5 15/8")


def test_each_window_gets_the_ratios_of_its_chord():
    ratios = choose_ratios(harmony_of("maj", "min", "7", "maj"))
    assert [ratios.tables[i].pairs[4] for i in ratios.table_of_window[[0, 3]]] == [(5, 4), (5, 4)]
    assert ratios.tables[ratios.table_of_window[1]].pairs[3] == (6, 5)
    assert ratios.tables[ratios.table_of_window[2]].pairs[10] == (9, 5)
    assert ratios.deviations.shape == (4, 12)
    assert ratios.deviations[2, 10] == pytest.approx(17.596, abs=0.001)  # 9/5, Helmholtz/Ellis 1885


def test_only_ratios_that_differ_from_ours_are_insisted_on():
    """A written plan repeats every ratio found, and must not weigh more for that."""
    music = harmony_of("maj", "min", "maj", "7")
    ours = choose_ratios(music)
    assert ours.insisted is None
    repeated = {window: ours.tables[ours.table_of_window[window]] for window in range(4)}
    again = choose_ratios(music, for_window=repeated)
    assert again.insisted.tolist() == [False] * 4
    wide = table("1 15/14 9/8 7/6 9/7 4/3 7/5 3/2 14/9 5/3 7/4 15/8")
    other = choose_ratios(music, for_window={2: wide}, for_chord={"7": wide})
    assert other.insisted.tolist() == [False, False, True, True]


@pytest.mark.parametrize(
    ("limit", "seventh"), [(3, "16/9"), (5, "9/5"), (7, "7/4"), (11, "7/4"), (13, "7/4")]
)
def test_prime_limit_decides_the_dominant_seventh(limit, seventh):
    """16/9 Pythagorean (Barbour 1951), 9/5 in 20:25:30:36, 7/4 in barbershop practice."""
    ratios = choose_ratios(harmony_of("7"), prime_limit=limit)
    assert ratios.tables[0].rationals[10] == sympy.Rational(seventh)


def test_given_tables_come_first():
    septimal = table("1 15/14 9/8 7/6 5/4 4/3 7/5 3/2 14/9 5/3 7/4 15/8")
    ratios = choose_ratios(harmony_of("maj", "min", "maj"), for_chord={"maj": septimal}, for_window={2: JUST})
    chosen = [ratios.tables[i] for i in ratios.table_of_window]
    assert chosen[0] == septimal
    assert chosen[1] == table_for(INDEX_OF_SYMBOL["min"], bits(0, 3, 7), 5)
    assert chosen[2] == JUST


def test_no_windows_give_no_ratios():
    ratios = choose_ratios(harmony_of())
    assert ratios.deviations.shape == (0, 12)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        ({"prime_limit": 9}, "prime limit: 9 is not one of 3, 5, 7, 11, 13"),
        ({"for_chord": {"majj": JUST}}, "chord 'majj' is not in the chord table; the nearest is 'maj'"),
        ({"for_window": {5: JUST}}, "ratios of window 5: there are only 1 windows"),
    ],
)
def test_what_cannot_be_obeyed_is_said(call, message):
    with pytest.raises(OptionError, match=message):
        choose_ratios(harmony_of("maj"), **call)


def height(lower, upper):
    """n·d of an interval, from sympy's own arithmetic."""
    interval = sympy.Rational(*upper) / sympy.Rational(*lower)
    return interval.p * interval.q


def total_distance(pairs):
    """Sum of log2(n·d) over all pairs, as the product of n·d, which stays exact."""
    product_of_heights = sympy.Integer(1)
    for low in range(len(pairs)):
        for high in range(low + 1, len(pairs)):
            product_of_heights *= height(pairs[low], pairs[high])
    return product_of_heights


@pytest.mark.parametrize("steps", [(0, 1), (0, 5, 9), (0, 1, 6), (0, 2, 3, 8), (0, 1, 2), (0, 6, 11)])
def test_unnamed_chords_have_least_total_harmonic_distance(steps):
    """Against every assignment of candidates, multiplied out exactly."""
    found = least_distance(steps, 5)
    everything = product(*(candidates(5)[step] for step in steps))
    assert total_distance(list(found.values())) == min(total_distance(list(pairs)) for pairs in everything)


def test_rule_finds_textbook_chords_by_itself():
    """4:5:6, 10:12:15, 8:10:12:15, 10:12:15:18, 4:5:6:7 are what the measure of Tenney 1983 gives."""
    for symbol, limit in (("maj", 5), ("min", 5), ("maj7", 5), ("min7", 5), ("7", 7), ("9", 7)):
        index = INDEX_OF_SYMBOL[symbol]
        assert least_distance(CHORD_TYPES[index].intervals, limit) == chord_tones(index, limit)


def test_other_notes_agree_with_the_chord():
    """Over C E G: D 9/8, F 4/3, A 5/3, B♭ 9/5 (pure minor third over G), B 15/8."""
    pairs = table_for(INDEX_OF_SYMBOL["maj"], bits(0, 4, 7), 5).rationals
    assert [str(pairs[step]) for step in (2, 5, 9, 10, 11)] == ["9/8", "4/3", "5/3", "9/5", "15/8"]


def test_members_beyond_the_chord_type_count_as_chord_tones():
    """A minor triad with an added sixth agrees with the min6 row though the window says `min`."""
    with_sixth = table_for(INDEX_OF_SYMBOL["min"], bits(0, 3, 7, 9), 5)
    assert with_sixth.pairs[9] == chord_tones(INDEX_OF_SYMBOL["min6"], 5)[9]
    # And a second passing over C E G A is a pure fifth under the A, over C E G a pure fourth under the G.
    assert table_for(INDEX_OF_SYMBOL["maj"], bits(0, 4, 7, 9), 5).pairs[2] == (10, 9)
    assert table_for(INDEX_OF_SYMBOL["maj"], bits(0, 4, 7), 5).pairs[2] == (9, 8)


@pytest.mark.parametrize("limit", [5, 7, 13])
@pytest.mark.parametrize("symbol", ["maj", "min", "7", "min7b5", "dim7", "min11"])
def test_other_notes_have_the_least_distance_of_all_candidates(symbol, limit):
    """The sum over pairs with chord tones, multiplied out exactly for every candidate."""
    index = INDEX_OF_SYMBOL[symbol]
    tones = chord_tones(index, limit)
    found = table_for(index, CHORD_TYPES[index].members, limit)
    for step in set(range(12)) - set(tones):

        def distance(pair, at=step):
            heights = [
                height(*((pair, tone) if at < other else (tone, pair))) for other, tone in tones.items()
            ]
            return sympy.prod(heights)

        assert distance(found.pairs[step]) == min(distance(pair) for pair in candidates(limit)[step])


def test_large_sets_without_a_name_are_complete():
    """Seven tones of a major scale above its tonic: the just scale of Helmholtz/Ellis 1885."""
    scale = least_distance((0, 2, 4, 5, 7, 9, 11), 5)
    assert set(scale) == {0, 2, 4, 5, 7, 9, 11}
    assert [f"{n}/{d}" for n, d in (scale[step] for step in (4, 5, 7, 9, 11))] == [
        "5/4", "4/3", "3/2", "5/3", "15/8",
    ]  # fmt: skip


def primes_of(table_):
    """All odd primes that occur in a table."""
    return {prime for pair in table_.pairs for number in pair for prime in sympy.factorint(number)} - {1, 2}


@settings(max_examples=150, deadline=None)
@given(members=MEMBERS, chord=st.integers(-1, len(CHORD_TYPES) - 1), limit=st.sampled_from(PRIME_LIMITS))
def test_every_table_is_sound(members, chord, limit):
    """Whatever a window holds: primes within the limit, octave-reduced, in order, near its semitone."""
    found = table_for(chord, members, limit)
    assert len(found.pairs) == 12
    assert found.pairs[0] == (1, 1)
    assert max(primes_of(found), default=3) <= limit
    assert all(sympy.gcd(*pair) == 1 for pair in found.pairs)
    assert all(1 <= ratio < 2 for ratio in found.rationals)
    assert all(low < high for low, high in pairwise(found.rationals))
    assert np.abs(found.deviations).max() < 60


@settings(max_examples=40, deadline=None)
@given(chords=st.lists(st.sampled_from([kind.symbol for kind in CHORD_TYPES]), max_size=30))
def test_windows_do_not_influence_each_other(chords):
    together = choose_ratios(harmony_of(*chords))
    alone = [choose_ratios(harmony_of(chord)).tables[0] for chord in chords]
    assert [together.tables[i] for i in together.table_of_window] == alone


def test_rationals_and_deviations_agree_exactly():
    for ratio, deviation, step in zip(JUST.rationals, JUST.deviations, range(12), strict=True):
        assert abs(1200 * sympy.log(ratio, 2) - 100 * step - deviation) < 1e-9

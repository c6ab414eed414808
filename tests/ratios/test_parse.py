"""Ratios read from text."""

import pytest
import sympy
from hypothesis import given
from hypothesis import strategies as st

from retune.errors import OptionError
from retune.harmony.vocabulary import INDEX_OF_SYMBOL
from retune.ratios.choose import chord_tones
from retune.ratios.document import rows
from retune.ratios.parse import parse_ratio, parse_table, parse_tones


@given(st.integers(1, 999), st.integers(1, 999))
def test_ratios_are_read_exactly(numerator, denominator):
    ratio = sympy.Rational(*parse_ratio(f"{numerator}/{denominator}"))
    octaves = sympy.Rational(numerator, denominator) / ratio
    assert 1 <= ratio < 2
    assert set(sympy.factorint(octaves.p * octaves.q)) <= {1, 2}


@pytest.mark.parametrize("text", ["4:5:6:7", "1 5/4 3/2 7/4", "1/1, 5/2, 3, 7/4", " 4 : 5 : 6 : 7 "])
def test_chords_may_be_written_in_two_ways(text):
    assert parse_tones(text) == {0: (1, 1), 4: (5, 4), 7: (3, 2), 10: (7, 4)}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("5:4x", "'4x' is not a whole number"),
        ("4:0:6", "'0' is not a whole number"),
        ("1 5/0", "'0' is not a whole number"),
        ("1 1.25", "'1.25' is not a ratio of whole numbers such as 5/4"),
        ("1 -5/4", "'-5/4' is not a ratio"),
        ("5/4 3/2", "the root is missing; write it as 1"),
        ("1 5/4 81/64", "5/4 and 81/64 are both nearest to semitone 4"),
        ("", "the root is missing"),
        ("1 " + "9" * 5000 + "/8", "is not a whole number from 1 to 1000000"),
    ],
)
def test_what_cannot_be_read_is_said(text, message):
    with pytest.raises(OptionError, match=message):
        parse_tones(text)


def test_tables_fill_in_what_the_text_leaves_out():
    """6:7:9 is the septimal minor triad; the other pitch classes follow it within the prime limit."""
    table = parse_table("6:7:9", "min", prime_limit=7)
    assert table.rationals[3] == sympy.Rational(7, 6)
    assert table.rationals[10] == sympy.Rational(7, 4)
    partial = parse_table("1 19/16", "min")
    assert [str(r) for r in partial.rationals[3:8:4]] == ["19/16", "3/2"]


@pytest.mark.parametrize(
    ("text", "symbol", "message"),
    [
        ("4:5:6", "major", "chord 'major' is not in the chord table"),
        ("4:5:6:7", "maj", "7/4 is nearest to semitone 10, which maj .major triad: 0 4 7. does not have"),
    ],
)
def test_tables_refuse_tones_the_chord_does_not_have(text, symbol, message):
    with pytest.raises(OptionError, match=message):
        parse_table(text, symbol)


@pytest.mark.parametrize("row", rows(), ids=lambda row: f"{row.symbol}@{row.prime_limit}")
def test_everything_in_the_chord_table_can_be_typed_again(row):
    """As ratios and as integers; each tone is nearest to its own semitone."""
    tones = chord_tones(INDEX_OF_SYMBOL[row.symbol], row.prime_limit)
    assert parse_tones(" ".join(row.tones)) == tones
    if ":" in row.integers:
        assert parse_tones(row.integers) == tones

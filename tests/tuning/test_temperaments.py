"""Named temperaments against printed tables and their own constructions."""

import numpy as np
import pytest
import sympy
from hypothesis import given
from hypothesis import strategies as st

from retune.errors import InputError, OptionError
from retune.tuning.temperaments import FIFTHS, TEMPERAMENTS, Narrowing, parse_temperament, temperament

EQUAL = f"cents = {list(range(0, 1200, 100))}"

# Cents from C after Barbour 1951 and (Young) Phil. Trans. 90, 1800, two decimals.
FROM_C = {
    "pythagorean": "0 113.69 203.91 294.13 407.82 498.04 611.73 701.96 815.64 905.87 996.09 1109.78",
    "quarter-comma-meantone": "0 76.05 193.16 310.26 386.31 503.42 579.47 696.58 772.63 889.74 1006.84"
    " 1082.89",
    "sixth-comma-meantone": "0 88.59 196.74 304.89 393.48 501.63 590.22 698.37 786.96 895.11 1003.26 1091.85",
    "werckmeister-iii": "0 90.22 192.18 294.13 390.22 498.04 588.27 696.09 792.18 888.27 996.09 1092.18",
    "kirnberger-iii": "0 90.22 193.16 294.13 386.31 498.04 590.22 696.58 792.18 889.74 996.09 1088.27",
    "vallotti": "0 94.13 196.09 298.04 392.18 501.96 592.18 698.04 796.09 894.13 1000.00 1090.22",
    "young-1": "0 93.89 195.85 297.80 391.69 499.88 591.94 697.92 795.85 893.77 999.76 1091.81",
    "young-2": "0 90.22 196.09 294.13 392.18 498.04 588.27 698.04 792.18 894.13 996.09 1090.22",
    "just": "0 111.73 203.91 315.64 386.31 498.04 590.22 701.96 813.69 884.36 1017.60 1088.27",
}

# Offsets with A = 0 as harpsichord tuners' tables print them, one decimal; C first.
TUNERS_OFFSETS = {
    "equal": "0 0 0 0 0 0 0 0 0 0 0 0",
    "pythagorean": "-5.9 7.8 -2.0 -11.7 2.0 -7.8 5.9 -3.9 9.8 0 -9.8 3.9",
    "quarter-comma-meantone": "10.3 -13.7 3.4 20.5 -3.4 13.7 -10.3 6.8 -17.1 0 17.1 -6.8",
    "sixth-comma-meantone": "4.9 -6.5 1.6 9.8 -1.6 6.5 -4.9 3.3 -8.1 0 8.1 -3.3",
    "werckmeister-iii": "11.7 2.0 3.9 5.9 2.0 9.8 0 7.8 3.9 0 7.8 3.9",
    "kirnberger-iii": "10.3 0.5 3.4 4.4 -3.4 8.3 0.5 6.8 2.4 0 6.4 -1.5",
    "vallotti": "5.9 0 2.0 3.9 -2.0 7.8 -2.0 3.9 2.0 0 5.9 -3.9",
    "young-1": "6.2 0.1 2.1 4.0 -2.1 6.1 -1.8 4.2 2.1 0 6.0 -2.0",
    "young-2": "5.9 -3.9 2.0 0 -2.0 3.9 -5.9 3.9 -2.0 0 2.0 -3.9",
}


def numbers(text):
    return np.array([float(word) for word in text.split()])


@pytest.mark.parametrize("name", FROM_C)
def test_cents_from_c_match_the_printed_table(name):
    offsets = temperament(name)
    from_c = offsets - offsets[0] + 100 * np.arange(12)
    assert np.abs(from_c - numbers(FROM_C[name])).max() < 0.00501


@pytest.mark.parametrize("name", TUNERS_OFFSETS)
def test_offsets_match_the_tuners_table(name):
    assert np.abs(temperament(name) - numbers(TUNERS_OFFSETS[name])).max() < 0.0501


SYNTONIC = sympy.log(sympy.Rational(81, 80), 2)
PYTHAGOREAN = sympy.log(sympy.Rational(531441, 524288), 2)


@pytest.mark.parametrize(
    "name", ["equal", "werckmeister-iii", "kirnberger-iii", "vallotti", "young-1", "young-2"]
)
def test_circulating_temperaments_use_up_the_pythagorean_comma_exactly(name):
    """Twelve fifths close at seven octaves, so the narrowings of the eleven leave a twelfth that is pure,
    or for equal temperament 1/12 of the comma (Barbour 1951)."""
    left = sympy.Rational(1, 12) if name == "equal" else 0
    pythagorean = sum(sympy.Rational(f.pythagorean, f.parts) for f in FIFTHS[name])
    syntonic = sum(sympy.Rational(f.syntonic, f.parts) for f in FIFTHS[name])
    assert (pythagorean, syntonic) == (1 - left, 0)


@pytest.mark.parametrize(
    ("name", "wolf"),
    [("pythagorean", 678.49), ("quarter-comma-meantone", 737.64), ("sixth-comma-meantone", 717.92)],
)
def test_wolf_fifth_lies_between_g_sharp_and_e_flat(name, wolf):
    """Sizes of the twelfth fifth after Barbour 1951."""
    offsets = temperament(name)
    assert 700 + offsets[3] - offsets[8] == pytest.approx(wolf, abs=0.00501)


def test_narrowing_is_the_exact_share_of_the_commas():
    share = Narrowing(4, -3, 16)
    exact = 1200 * (4 * PYTHAGOREAN - 3 * SYNTONIC) / 16
    assert abs(exact - share.cents) < 1e-9
    assert share.cents == pytest.approx(1.833, abs=0.0005)  # Young 1800, B♭–F–C and E–B–F♯


@given(st.sampled_from(TEMPERAMENTS), st.integers(0, 11))
def test_tonic_moves_the_whole_pattern(name, tonic):
    """Intervals above the tonic are those above C, and A stays at the reference pitch."""
    on_c, moved = temperament(name), temperament(name, tonic_pc=tonic)
    assert moved[9] == 0
    above_tonic = np.roll(moved, -tonic)
    assert np.allclose(above_tonic - above_tonic[0], on_c - on_c[0], atol=1e-9)


def test_tonic_may_be_said_in_words():
    assert np.array_equal(temperament("just on Bb"), temperament("just", tonic_pc=10))
    assert np.array_equal(temperament(" young-2 on F♯ "), temperament("young-2", tonic_pc=6))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("werkmeister-iii", "'werkmeister-iii' is not one of equal, .*; nearest: werckmeister-iii$"),
        ("just on H", "temperament 'just on H': 'H' is not a note name such as A or F#"),
        ("no-such-file.toml", "no-such-file.toml: no such file"),
    ],
)
def test_unknown_names_are_answered(text, message):
    with pytest.raises((OptionError, InputError), match=message):
        temperament(text)


def test_own_temperament_in_three_forms_is_the_same():
    """Quarter-comma meantone has pure thirds: E is 5/4, G♯ 25/16 (Aron 1523)."""
    named = temperament("just")
    ratios = parse_temperament(
        'ratios = ["1", "16/15", "9/8", "6/5", "5/4", "4/3", "45/32", "3/2", "8/5", "5/3", "9/5", "15/8"]'
    )
    cents = parse_temperament(f"cents = [{', '.join(FROM_C['just'].split())}]")
    offsets = parse_temperament(f"offsets = {named.tolist()}")
    assert np.array_equal(ratios, named)
    assert np.abs(cents - named).max() < 0.0101
    assert np.array_equal(offsets, named)


def test_own_temperament_may_stand_on_another_note(tmp_path):
    path = tmp_path / "organ.toml"
    path.write_text(f'tonic = "D"\ncents = [{", ".join(FROM_C["vallotti"].split())}]\n', encoding="utf-8")
    assert np.abs(temperament(str(path)) - temperament("vallotti on D")).max() < 0.0101
    assert np.abs(temperament(f"{path} on G") - temperament("vallotti on A")).max() < 0.0101


def test_own_temperament_must_be_utf8(tmp_path):
    path = tmp_path / "organ.toml"
    path.write_bytes(b"# tuned by J\xfcrgen\n")
    with pytest.raises(OptionError, match=r"organ\.toml: not UTF-8 text"):
        temperament(str(path))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("cents = [", "temperament organ, line 1, column 1: no value here"),
        ("", "temperament organ: needs one list of twelve: cents, ratios or offsets"),
        ("cents = []\noffsets = []", "needs one list of twelve"),
        ("cents = [0, 100]", "cents must be a list of twelve"),
        ("cents = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, nan]", "cents must be twelve numbers"),
        ("cents = [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, true]", "cents must be twelve numbers"),
        ("cents = [0, 76, 193, 310, 386, 503, 580, 697, 773, 890, 1007, 108]",
         r"cents number 12, 108, lies -992\.0 cents from its semitone; 100 is the most"),
        ("ratios = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]", 'ratios are written in quotes, like "5/4"'),
        ('ratios = ["1", "foo", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12"]',
         "temperament organ: 'foo' is not a ratio"),
        ("tonic = 3\n" + EQUAL, "tonic must be"),
        ('tonic = "X"\n' + EQUAL, "'X' is not a note"),
        ('tonic = "D"\noffsets = [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]', "goes with cents or ratios"),
    ],
)  # fmt: skip
def test_own_temperament_says_what_is_wrong(text, message):
    with pytest.raises(OptionError, match=message):
        parse_temperament(text, name="organ")

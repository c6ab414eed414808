"""Bounds of options: whatever a validated value is, the stages can compute with it."""

from __future__ import annotations

import re
from math import inf, nan

import numpy as np
import pytest

from retune.errors import OptionError
from retune.options import Options
from tests.cli.inputs import ONLY_PERCUSSION
from tests.cli.run import HYMN, run


@pytest.mark.parametrize(
    "field", ["drift_limit_cents", "hold_limit_cents", "glide_ms", "line_weight", "reference_hz"]
)
@pytest.mark.parametrize("value", [-1, 1e308, 10**400, nan, "far", None])
def test_a_number_beyond_use_is_refused(field, value):
    with pytest.raises(OptionError, match=field.split("_")[0]):
        Options(**{field: value})


def test_one_fixed_part_is_not_a_text_of_letters():
    """`fixed="Piano"` is what anyone writes first; read letter by letter it would fix part P and look for part i."""
    with pytest.raises(OptionError, match=r"not a tuple of parts; write \('Piano',\)"):
        Options(fixed="Piano")
    assert Options(fixed=["Piano"]) == Options(fixed=("Piano",))


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"bend_range_semitones": 2.5}, "bend range: 2.5 is not a whole number"),
        ({"bend_range_semitones": "2"}, "bend range: '2' is not a whole number"),
        ({"fixed": (3,)}, r"fixed: \(3,\) is not a tuple of parts"),
        ({"fixed": 3}, "fixed: 3 is not a tuple of parts"),
        ({"home": 3}, "home: 3 is not mean, tonic or a note name"),
        ({"home": "H"}, "home: 'H' is not mean, tonic or a note name"),
        ({"drift_limit_cents": 5000}, "drift limit: 5000 is not between 0 and 1200 cents, nor none"),
        ({"purity_first": "yes"}, "purity first: 'yes' is not one of False, True"),
    ],
)
def test_values_of_a_wrong_kind_are_refused_at_once(given, message):
    with pytest.raises(OptionError, match=message):
        Options(**given)


def test_whole_numbers_of_numpy_are_whole_numbers():
    assert Options(prime_limit=np.int64(7), bend_range_semitones=np.int32(12)) == Options(
        prime_limit=7, bend_range_semitones=12
    )


def test_whole_numbers_are_numbers_too():
    whole = Options(drift_limit_cents=10, hold_limit_cents=0, reference_hz=441, glide_ms=5, line_weight=2)
    assert whole == Options(
        drift_limit_cents=10.0, hold_limit_cents=0.0, reference_hz=441.0, glide_ms=5.0, line_weight=2.0
    )
    assert all(type(getattr(whole, name)) is float for name in ("drift_limit_cents", "glide_ms"))
    assert Options(drift_limit_cents=inf).drift_limit_cents == inf


@pytest.mark.parametrize(
    "wide", [["--drift-limit", "1200", "--hold-limit", "1200", "--glide", "10000"], ["--hold-limit", "none"]]
)
def test_the_widest_limits_work(wide, tmp_path):
    assert run("convert", HYMN, "-o", tmp_path / "out.mid", *wide).status == 0


@pytest.mark.parametrize("option", ["--drift-limit", "--hold-limit", "--glide"])
def test_a_huge_limit_is_one_line(option, tmp_path):
    result = run("convert", HYMN, "-o", tmp_path / "out.mid", option, "1e308")
    assert (result.status, result.out, result.err.count("\n")) == (2, b"", 1)
    assert re.search("is (outside 0 to|not between 0 and) 1", result.err)
    assert not list(tmp_path.iterdir())


def test_drums_alone_have_nothing_to_tune(tmp_path):
    drums = tmp_path / "drums.mid"
    drums.write_bytes(ONLY_PERCUSSION)
    sheet = tmp_path / "sheet.html"
    for making in (("passages", drums), ("parts", drums, "-o", sheet)):
        result = run(*making)
        assert (result.status, result.out, result.err.count("\n")) == (2, b"", 1)
        assert "no pitched notes" in result.err
    assert not sheet.exists()
    found = run("analyze", drums).text
    assert "No pitched notes" in found
    assert "pure" not in found
    assert run("compare", drums).text == "No pitched notes, so there is nothing to compare.\n"


def test_one_thing_is_said_in_the_singular():
    found = run("passages", HYMN, "--tolerance", "30").text
    assert found.startswith("1 passage, 0 retunings; ")

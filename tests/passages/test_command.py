"""`retune passages` as a user runs it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tests.cli.run import HYMN, SAMPLES, run

CHAIN_OF_FIFTHS = """
ratios.maj = "1 81/64 3/2"
ratios.min = "1 32/27 3/2"
ratios."7" = "1 81/64 3/2 16/9"
ratios.min7 = "1 32/27 3/2 16/9"
"""


def test_the_table_says_what_to_retune_and_warns_of_strings():
    done = run("passages", HYMN, "--tolerance", 1)
    assert (done.status, done.err) == (0, "")
    heading, _, columns, *rows = done.text.splitlines()
    assert heading.endswith("every chord tone within 1 cent of pure")
    assert columns.endswith("tune to (cents from equal temperament)")
    assert rows[0].split()[:2] == ["1", "bar"]
    assert "Caution: raising a string's pitch adds tension and can break it." in done.text
    values = json.loads(run("passages", HYMN, "--tolerance", 1, "--json").out)
    assert values["caution"] in done.text


def test_a_mistyped_word_is_answered_like_any_other():
    done = run("passages", HYMN, "--by", "parts")
    assert "'parts' is not one of note-name, part; nearest: part (see" in done.err


def test_one_passage_more_for_every_retuning():
    found = json.loads(run("passages", HYMN, "--tolerance", 2, "--json").out)
    assert found["retunings"] == len(found["passages"]) - 1 > 0
    assert max(passage["worst_cents"] for passage in found["passages"]) <= found["tolerance_cents"] == 2.0


def test_a_plan_is_obeyed(tmp_path: Path) -> None:
    """One chain of fifths, as in Pythagorean tuning, serves nearly all of the hymn; pure thirds do not."""
    plan = tmp_path / "hymn.toml"
    plan.write_text(CHAIN_OF_FIFTHS)
    chain = json.loads(run("passages", HYMN, "--tolerance", 1, "--plan", plan, "--json").out)
    pure = json.loads(run("passages", HYMN, "--tolerance", 1, "--json").out)
    assert chain["retunings"] < 5 < pure["retunings"]


@pytest.mark.parametrize("option", [("--quiet",), ("--json",)])
def test_remarks(option: tuple[str, ...], tmp_path: Path) -> None:
    cut = tmp_path / "cut.mid"
    cut.write_bytes(Path(HYMN).read_bytes()[:-40])
    done = run("passages", cut, *option)
    assert done.status == 0
    assert (done.out == b"" and done.err == "") == (option == ("--quiet",))
    assert ("the track has no end" in done.err) == (option == ("--json",))


def test_nothing_is_minus_zero() -> None:
    shown = run("passages", SAMPLES / "string_trio.mid", "--json").out.decode()
    assert not re.search(r"-0\.0(?!\d)", shown)

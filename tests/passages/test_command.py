"""`retune passages` as a user runs it."""

from __future__ import annotations

import json
import re
from itertools import pairwise
from pathlib import Path

import pytest

from retune.harmony.model import Role
from retune.pipeline import analyze
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


def test_whoever_obeys_the_printed_lines_alone_hears_what_they_promise() -> None:
    """From a keyboard in equal temperament: notes of a chord against what its ratios want, each chord at its best."""
    tag = SAMPLES / "close_harmony_tag.mid"
    for tolerance in (2, 5):
        printed = run("passages", tag, "--tolerance", tolerance).text.splitlines()[3:-2]
        found = json.loads(run("passages", tag, "--tolerance", tolerance, "--json").out)
        analysis = analyze(tag.read_bytes())
        windows, pieces = analysis.harmony.windows, analysis.harmony.pieces
        keyboard = dict.fromkeys(found["slots"], 0.0)
        for line, passage in zip(printed, found["passages"], strict=True):
            keyboard |= {
                note: float(cents) for note, cents in re.findall(r"([A-G][♭♯]?) ([+-]?\d+\.\d)", line)
            }
            table = list(keyboard.values())
            assert table == pytest.approx(passage["offsets_cents"], abs=0.051)
            worst = 0.0
            for window in range(passage["windows"][0], passage["windows"][1] + 1):
                here = pieces[(pieces["window"] == window) & (pieces["role"] == Role.CHORD)]
                keys = analysis.score.notes["key"][here["note"]] % 12
                wanted = analysis.ratios.deviations[window, (keys - windows["root_pc"][window]) % 12]
                errors = [table[key] for key in keys] - wanted
                worst = max(worst, float(errors.max() - errors.min()) / 2) if len(errors) else worst
            assert worst == pytest.approx(passage["worst_cents"], abs=0.11)
            assert worst <= tolerance + 0.11  # each printed figure is rounded to a tenth


def test_a_note_first_wanted_later_is_tuned_from_the_start() -> None:
    """So nobody stops for it: the first chords of the tag have no E♭, and the second passage is no more to turn."""
    found = json.loads(run("passages", SAMPLES / "close_harmony_tag.mid", "--tolerance", 2, "--json").out)
    first, second = found["passages"][:2]
    e_flat = found["slots"].index("E♭")
    assert first["offsets_cents"][e_flat] == second["offsets_cents"][e_flat] != 0.0
    assert first["retuned"] == []
    for before, after in pairwise(found["passages"]):
        pairs = zip(found["slots"], before["offsets_cents"], after["offsets_cents"], strict=True)
        moved = [note for note, old, new in pairs if abs(old - new) > 0.11]
        assert set(moved) <= set(after["retuned"])


def test_drums_are_not_tuned() -> None:
    found = json.loads(
        run("passages", SAMPLES / "pop_loop.mid", "--by", "part", "--tolerance", 60, "--json").out
    )
    assert found["slots"] == ["Bass", "Pads", "Arpeggio"]


@pytest.mark.parametrize("option", ["--hold-limit", "--home", "--reference", "--fixed", "--preset"])
def test_an_option_that_decides_nothing_here_is_refused(option: str) -> None:
    done = run("passages", HYMN, option, "5")
    assert (done.status, done.out) == (2, b"")
    assert (
        done.err
        == f"retune: {option} decides nothing in passages; leave it out (see retune passages --help)\n"
    )


def test_options_of_a_project_may_say_more(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plainly = run("passages", HYMN)
    monkeypatch.chdir(tmp_path)
    Path("retune.toml").write_text('hold-limit = 5\npreset = "still-lines"\nfixed = ["Bass"]\n')
    assert run("passages", HYMN) == plainly


def test_drift_limits_of_a_plan_hold_in_their_bars(tmp_path: Path) -> None:
    """Between the limit for all bars and none: where roots may not move, fewer chords can share a table."""
    plan = tmp_path / "hymn.toml"
    plan.write_text('sections = [{bars = "1-4", drift_limit = 0}]\n')
    limited = json.loads(run("passages", HYMN, "--tolerance", 2, "--plan", plan, "--json").out)
    free = json.loads(run("passages", HYMN, "--tolerance", 2, "--json").out)
    everywhere = json.loads(run("passages", HYMN, "--tolerance", 2, "--drift-limit", 0, "--json").out)
    counts = [len(found["passages"]) for found in (free, limited, everywhere)]
    assert counts == sorted(counts)
    assert counts[0] < counts[1] < counts[2]

"""`retune parts` as a user runs it."""

from __future__ import annotations

from pathlib import Path

import pytest

from retune.parts import KINDS, SheetOptions, collect_sheets, write_sheets
from retune.pipeline import analyze, tune
from tests.cli.run import HYMN, SAMPLES, run


@pytest.mark.parametrize("kind", KINDS)
def test_the_command_writes_what_the_library_call_gives(kind: str, tmp_path: Path) -> None:
    out = tmp_path / f"hymn.{kind}"
    done = run(
        "parts",
        HYMN,
        "-o",
        out,
        "--part",
        "Alto",
        "--part",
        "4",
        "--mark-from",
        8,
        "--slow-chords",
        3,
        "--ratios",
    )
    assert (done.status, done.text, done.err) == (0, f"written: {out}\n", "")
    analysis = analyze(Path(HYMN).read_bytes())
    sheets = collect_sheets(
        analysis.score,
        analysis.harmony,
        analysis.ratios,
        tune(analysis),
        SheetOptions(mark_from_cents=8.0, chords=3, ratios=True),
        parts=(1, 3),
    )
    assert [sheet.name for sheet in sheets.sheets] == ["Alto", "Bass"]
    assert out.read_bytes() == write_sheets(analysis.score, sheets, kind)


def test_standard_output_is_told_what_to_write() -> None:
    done = run("parts", HYMN, "-o", "-", "--as", "csv")
    assert done.text.startswith("part,bar,beat,note,")
    done = run("parts", HYMN, "-o", "-")
    assert done.status == 2
    assert "standard output has no ending: say what to write (--as html|csv|md|musicxml)" in done.err


def test_the_title_is_the_users_the_files_or_the_name_of_the_file(tmp_path: Path) -> None:
    def title(*arguments: object) -> str:
        return run("parts", *arguments, "-o", "-", "--as", "md").text.splitlines()[0]

    assert title(HYMN, "--title", "For Sunday") == "# For Sunday"
    assert title(HYMN) == "# Lanterns on the Water"


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["-o", "a.pdf"], "a.pdf: the ending says what to write; use one of .html, .csv, .md, .musicxml"),
        (["-o", "a.md", "--part", "Tuba"], "part 'Tuba': no such part"),
        (["-o", "a.md", "--mark-from", "-1"], "mark from: -1 is outside 0 to 100"),
    ],
)
def test_bad_wishes_are_one_line(
    arguments: list[str], message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run("parts", HYMN, *arguments)
    assert done.status == 2
    assert message in done.err
    assert done.err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("kind", ["html", "md"])
def test_sheets_of_strings_carry_a_caution(kind: str) -> None:
    """Violin, viola and cello (General MIDI programs 40 to 42), not the piano beside them, nor a choir."""
    trio = run("parts", SAMPLES / "string_trio.mid", "-o", "-", "--as", kind).text
    assert trio.count("a string tuned well above its pitch can break") == 3
    assert "can break" not in run("parts", HYMN, "-o", "-", "--as", kind).text

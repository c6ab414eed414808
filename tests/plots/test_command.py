"""`retune plot` as a user runs it."""

from __future__ import annotations

from pathlib import Path

import pytest

from retune.pipeline import analyze, tune
from retune.plots import KINDS, draw
from tests.cli.run import HYMN, run

pytest.importorskip("matplotlib")


@pytest.mark.parametrize("kind", KINDS)
def test_the_command_writes_what_the_library_call_gives(kind: str, tmp_path: Path) -> None:
    out = tmp_path / "hymn.svg"
    done = run("plot", HYMN, "-o", out, "--kind", kind, "--bars", "1-4", "--title", "Evening")
    assert (done.status, done.text, done.err) == (0, f"written: {out}\n", "")
    a = analyze(Path(HYMN).read_bytes())
    wishes = {"form": "svg", "first_bar": 1, "last_bar": 4, "title": "Evening"}
    assert out.read_bytes() == draw(kind, a.score, a.harmony, a.ratios, tune(a), a.options, **wishes)


def test_a_wrong_ending_is_one_line(tmp_path: Path) -> None:
    done = run("plot", HYMN, "-o", tmp_path / "a.gif")
    assert done.status == 2
    assert "a.gif: the ending says what to write; use one of .svg, .png, .pdf" in done.err
    assert list(tmp_path.iterdir()) == []

"""The commands shown on the pages about listening and singing run as they stand."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest

from tests.cli.run import ROOT, SAMPLES, run

PAGES = ("listening.md", "singing.md")
COMMANDS = [
    line
    for page in PAGES
    for line in re.findall(r"^    (retune .*)$", (ROOT / "docs" / page).read_text("utf-8"), re.MULTILINE)
]


def test_there_are_commands_to_run() -> None:
    assert len(COMMANDS) >= 5


@pytest.mark.parametrize("line", COMMANDS)
def test_a_command_of_the_documentation_runs(
    line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "sample_scores").mkdir()
    for path in SAMPLES.glob("*.mid"):
        shutil.copy(path, tmp_path / "sample_scores")
    monkeypatch.chdir(tmp_path)
    _, *arguments = shlex.split(line)
    done = run(*arguments)
    assert (done.status, done.err) == (0, "")
    assert (tmp_path / arguments[arguments.index("-o") + 1]).stat().st_size > 1000


@pytest.mark.parametrize("page", PAGES)
def test_every_option_that_is_named_exists(page: str) -> None:
    text = (ROOT / "docs" / page).read_text("utf-8")
    known = "".join(run(command, "--help").text for command in ("preview", "parts", "plot"))
    options = set(re.findall(r"`[^`]*?(--[a-z][a-z-]+)", text))
    assert options
    for option in options:
        assert re.search(rf"{option}\b", known), option

"""The documentation says what the program does.

Console examples of the README and of all pages are run and compared. After a change that is meant,
`RETUNE_UPDATE=1 pytest tests/test_docs.py` writes their new output, and docs/commands.md, into the files.
"""

from __future__ import annotations

import ast
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest

from retune.cli import manual
from retune.cli.main import COMMANDS, retune
from tests.cli.run import run

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
DOCS = ROOT / "docs"
UPDATE = bool(os.environ.get("RETUNE_UPDATE"))
CONSOLE = re.compile(r"^```console\n\$ (.*)\n((?:.*\n)*?)```$", re.MULTILINE)
PAGES = [README, *sorted(DOCS.rglob("*.md"))]
EXAMPLES = [
    pytest.param(page, match[1], id=f"{page.name}: {match[1]}")
    for page in PAGES
    for match in CONSOLE.finditer(page.read_text(encoding="utf-8"))
]


def read(path: Path) -> str:
    return path.read_text(encoding="utf-8")


@pytest.mark.parametrize(("page", "example"), EXAMPLES)
def test_page_shows_what_the_command_prints(page, example, tmp_path, monkeypatch):
    shutil.copytree(
        ROOT / "sample_scores", tmp_path / "sample_scores", ignore=shutil.ignore_patterns("*.py", "_*")
    )
    monkeypatch.chdir(tmp_path)
    program, *arguments = shlex.split(example)
    assert program == "retune"
    result = run(*arguments)
    assert result.status == 0, result.err
    text = read(page)
    (shown,) = (match for match in CONSOLE.finditer(text) if match[1] == example)
    if UPDATE:
        page.write_text(text[: shown.start(2)] + result.text + text[shown.end(2) :], encoding="utf-8")
    else:
        assert same_but_for_rounding(shown[2], result.text)


SPOKEN = re.compile(
    r"^(?:    |\t|)retune (\w+ .*)$", re.MULTILINE
)  # in a block, not printed beside its output


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_command_on_a_page_is_one_the_program_takes(page):
    """Only read, not run: the files of these examples are the reader's."""
    for words in SPOKEN.findall(CONSOLE.sub("", read(page))):
        name, *arguments = shlex.split(re.split(r" {3,}| [|>] ", words)[0])
        if arguments[-1] == "[OPTIONS]":
            continue
        command = retune.get_command(click.Context(retune), name)
        assert command is not None, words
        with command.make_context(name, arguments):
            pass


def test_examples_are_found():
    """Or the tests of them would pass whatever the pages say."""
    assert len(SPOKEN.findall(CONSOLE.sub("", read(ROOT / "README.md")))) >= 6
    assert len(CONSOLE.findall(read(ROOT / "README.md"))) >= 4


NUMBER = re.compile(r"[+-]?\d+(?:\.\d+)?")


def same_but_for_rounding(shown: str, printed: str) -> bool:
    """Whether two texts agree, figures with a point to one in their last place (processors round differently)."""
    figures = zip(NUMBER.findall(shown), NUMBER.findall(printed), strict=False)
    words = [NUMBER.sub("#", text).split() for text in (shown, printed)]
    return words[0] == words[1] and all(_close(a, b) for a, b in figures)


def _close(shown: str, printed: str) -> bool:
    places = len(printed.partition(".")[2])
    if shown == printed or not places or len(shown.partition(".")[2]) != places:
        return shown == printed
    return abs(float(shown) - float(printed)) < 1.5 * 10.0**-places


def test_comparison_allows_rounding_and_nothing_else():
    assert same_but_for_rounding("mean  8.3 cents in bar 4\n", "mean 8.4 cents in bar 4\n")
    assert not same_but_for_rounding("mean 8.3 cents", "mean 8.5 cents")
    assert not same_but_for_rounding("mean 8.3 cents in bar 4", "mean 8.3 cents in bar 5")
    assert not same_but_for_rounding("mean 8.3 cents", "most 8.3 cents")
    assert not same_but_for_rounding("ratios 5/4 3/2", "ratios 5/4 4/3")


def test_readme_has_examples():
    assert len(CONSOLE.findall(read(README))) >= 4


def test_python_example_of_the_readme_runs(tmp_path, monkeypatch, capsys):
    (tmp_path / "sample_scores").mkdir()
    shutil.copy(ROOT / "sample_scores" / "evening_hymn.mid", tmp_path / "sample_scores")
    monkeypatch.chdir(tmp_path)
    (code,) = re.findall(r"^```python\n(.*?)^```$", read(README), re.MULTILINE | re.DOTALL)
    exec(compile(code, "README.md", "exec"), {})
    assert 0.5 < float(capsys.readouterr().out) <= 1.0
    assert (tmp_path / "hymn.mid").stat().st_size > 1000


@pytest.mark.skipif(shutil.which("make") is None, reason="make is not installed")
def test_the_makefile_notices_what_is_changed_new_or_deleted(tmp_path):
    """As somebody works: convert all, listen, write a plan for one piece, options for all, and take them back."""
    (rule,) = re.findall(r"^```make\n(scores := .*?)^```$", read(DOCS / "batch.md"), re.MULTILINE | re.DOTALL)
    (tmp_path / "Makefile").write_text(rule)
    command = tmp_path / "bin" / "retune"
    for folder in ("scores", "plans", "bin"):
        (tmp_path / folder).mkdir()
    command.write_text(f'#!/bin/sh\nPYTHONPATH="{ROOT}" exec "{sys.executable}" -m retune "$@"\n')
    command.chmod(0o755)
    for name in ("evening_hymn", "string_trio"):
        shutil.copy(ROOT / "sample_scores" / f"{name}.mid", tmp_path / "scores")

    def made() -> int:
        environment = {**os.environ, "PATH": f"{command.parent}:{os.environ['PATH']}"}
        done = subprocess.run(
            ["make"], cwd=tmp_path, env=environment, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        return done.stdout.count("retune convert ")

    plan, project = tmp_path / "plans" / "string_trio.toml", tmp_path / "retune.toml"
    assert (made(), made()) == (2, 0)
    plan.write_text('fixed = ["Piano"]\n')
    assert (made(), made()) == (1, 0)
    project.write_text('preset = "still-lines"\n')
    assert (made(), made()) == (2, 0)
    plan.unlink()
    assert (made(), made()) == (1, 0)


def test_readme_starts_with_two_commands_that_set_everything_up():
    blocks = re.findall(r"^```(\w*)\n(.*?)^```$", read(README), re.MULTILINE | re.DOTALL)
    (first, convert), (second, test) = blocks[:2]
    assert (first, second) == ("sh", "sh")
    assert convert.count("\n") == test.count("\n") == 1
    assert all(block.startswith("python3 -m venv ") for block in (convert, test))
    assert "retune convert sample_scores/" in convert
    assert all(step in test for step in ("ruff check", "ruff format --check", "mypy", "pytest"))


def test_command_reference_is_not_stale():
    page = DOCS / "commands.md"
    if UPDATE:
        page.write_text(manual.page(), encoding="utf-8")
    assert read(page) == manual.page(), "run: python -m retune.cli.manual > docs/commands.md"


@pytest.mark.parametrize("name", COMMANDS)
def test_help_states_meaning_unit_and_default(name):
    command = retune.get_command(click.Context(retune), name)
    assert command is not None
    assert command.help
    assert command.name == name
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, parameter.name
            if not parameter.is_flag:
                assert re.search(r"Default|default", parameter.help), parameter.name


def test_every_page_can_be_reached_from_the_index():
    index = read(DOCS / "index.md")
    for page in DOCS.rglob("*.md"):
        name = page.relative_to(DOCS).as_posix()
        assert name == "index.md" or f"({name})" in index, name


@pytest.mark.parametrize("page", [ROOT / "DEVELOPERS.md", *PAGES], ids=lambda p: p.name)
def test_links_lead_somewhere(page):
    for target in re.findall(r"\]\(([^)\s]+)\)", read(page)):
        path, _, anchor = target.partition("#")
        if path.startswith(("http:", "https:")):
            continue
        file = page.parent / path if path else page
        assert file.exists(), target
        if anchor:
            headings = re.findall(r"^#+ (.*)$", read(file), re.MULTILINE)
            slugs = {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}
            assert anchor in slugs, target


def remark_codes() -> set[str]:
    """Slugs of all remarks in the source: the `code` of every `Remark(...)`, or of helpers that pass one on."""
    codes = set()
    for path in (ROOT / "retune").rglob("*.py"):
        for node in ast.walk(ast.parse(read(path))):
            if isinstance(node, ast.Call):
                for keyword in node.keywords:
                    if keyword.arg == "code" and isinstance(keyword.value, ast.Constant):
                        codes.add(keyword.value.value)
    return codes


def test_every_remark_is_explained():
    explained = set(re.findall(r"^\| `([\w-]+)` \|", read(DOCS / "messages.md"), re.MULTILINE))
    assert remark_codes() <= explained
    assert explained <= set(
        re.findall(r'"([a-z0-9-]+)"', "".join(read(p) for p in (ROOT / "retune").rglob("*.py")))
    )


def test_stage_table_names_what_exists():
    """DEVELOPERS.md: folder, main function and tests of each row are there."""
    rows = re.findall(
        r"^\| `(retune/\w+/)` \|.*\| `([\w.]+)` \| `(tests/[\w/]+)` \|$", read(ROOT / "DEVELOPERS.md"), re.M
    )
    assert len(rows) >= 6
    for folder, function, tests in rows:
        assert (ROOT / folder).is_dir()
        assert any((ROOT / tests).glob("test_*.py")), tests
        assert re.search(
            rf"^def {function.split('.')[-1]}\(", "".join(read(p) for p in (ROOT / folder).glob("*.py")), re.M
        )

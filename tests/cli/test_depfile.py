"""`--depfile`: rules that make obeys."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from retune.cli.depfile import depfile, refuse_unspeakable
from retune.errors import OutputError
from tests.cli.run import HYMN, SAMPLES, run

MAKE = shutil.which("make")
needs_make = pytest.mark.skipif(MAKE is None, reason="make is not installed")
ODD_NAMES = [
    "two words",
    "a #1",
    "5$",
    "100%",
    "a:b",
    "really?",
    "all*",
    "[live]",
    "~home",
    "a|b",
    "a&b",
    "quo'te\"s",
    "(x), y! @+",
    "back\\slash",
    "back\\ slash",
    "back\\#",
    "café",
    "%a b%",
]


def test_the_rules_that_were_asked_for():
    rules = [(["out/b.mid", "out/b-2.mid"], ["in/b.mid"]), (["out/a #1.mid"], ["in/5$ a.mid", "plan.toml"])]
    assert depfile(rules).decode().splitlines() == [
        "out/a\\ \\#1.mid: in/5$$\\ a.mid plan.toml",
        "out/b.mid out/b-2.mid: in/b.mid",
        "in/5$$\\ a.mid:",
        "in/b.mid:",
        "plan.toml:",
    ]


def test_what_is_made_itself_has_no_empty_rule():
    assert depfile([(["c"], ["b"]), (["b"], ["a"])]) == b"b: a\nc: b\na:\n"


def test_the_colon_of_a_drive_is_kept():
    assert (
        depfile([(["C:\\out\\a.mid"], ["d:/in:b.mid"])]) == b"C:\\out\\a.mid: d:/in\\:b.mid\nd:/in\\:b.mid:\n"
    )


@needs_make
@pytest.mark.skipif(sys.platform == "win32", reason="such names cannot be there")
@pytest.mark.parametrize("name", ODD_NAMES)
def test_make_reads_every_name_as_it_is(name, tmp_path):
    """Newer than its source: up to date. Older, or source gone: to be made."""
    source, target = tmp_path / f"{name}.in", tmp_path / f"{name}.out"
    (tmp_path / "Makefile").write_bytes(depfile([([target.name], [source.name])]) + b"%.out:\n\t@echo made\n")
    source.write_text("")
    target.write_text("")
    for decoy in ("reallyX.in", "allX.in", "l.in"):  # what a pattern would take
        (tmp_path / decoy).write_text("")

    def asked(at: int) -> int:
        if source.exists():
            os.utime(source, (at, at))
        os.utime(target, (100, 100))
        return subprocess.run([str(MAKE), "-q", target.name], cwd=tmp_path, capture_output=True).returncode

    assert asked(50) == 0
    assert asked(150) == 1
    source.unlink()
    assert asked(150) == 1


@pytest.mark.parametrize("character", ["\n", "\r", "\t", ";", "="])
def test_what_make_cannot_read_is_refused(character):
    with pytest.raises(OutputError, match=r"make has no way to write .* in a name"):
        refuse_unspeakable(["fine.mid", f"a{character}b.mid"])


@pytest.fixture
def project(tmp_path, monkeypatch):
    """A current folder with a plan and three pieces in it."""
    monkeypatch.chdir(tmp_path)
    Path("in").mkdir()
    shutil.copy(HYMN, "in/a hymn.mid")
    shutil.copy(HYMN, "in/#2.mid")
    shutil.copy(SAMPLES / "slow_piano.mid", "in/slow.mid")
    Path("plan.toml").write_text('ratios.min = "1 7/6 3/2"\n')
    return tmp_path


def test_a_single_conversion(project):
    run("convert", "in/a hymn.mid", "-o", "hymn.mid", "--plan", "plan.toml", "--depfile", "hymn.d")
    assert Path("hymn.d").read_text().splitlines() == [
        "hymn.mid: in/a\\ hymn.mid plan.toml",
        "in/a\\ hymn.mid:",
        "plan.toml:",
    ]
    Path("retune.toml").write_text("glide = 5\n")
    run("convert", "in/a hymn.mid", "-o", "hymn.mid", "--depfile", "hymn.d")
    assert Path("hymn.d").read_text().startswith("hymn.mid: in/a\\ hymn.mid retune.toml\n")
    data = Path("in/slow.mid").read_bytes()
    run("convert", "-", "-o", "slow.mid", "--depfile", "slow.d", stdin=data)
    assert Path("slow.d").read_text() == "slow.mid: retune.toml\nretune.toml:\n"


def test_a_batch_has_the_same_rules_at_any_number_of_jobs(project):
    given = ["convert", "in", "--out-dir", "out", "--plan", "plan.toml", "--force", "--depfile"]
    assert run(*given, "one.d", "--jobs", "1").status == 0
    assert run(*given, "two.d", "--jobs", "2").status == 0
    assert Path("one.d").read_text().splitlines() == [
        "out/\\#2.mid: in/\\#2.mid plan.toml",
        "out/a\\ hymn.mid: in/a\\ hymn.mid plan.toml",
        "out/slow.mid: in/slow.mid plan.toml",
        "in/\\#2.mid:",
        "in/a\\ hymn.mid:",
        "in/slow.mid:",
        "plan.toml:",
    ]
    assert Path("one.d").read_bytes() == Path("two.d").read_bytes()
    again = run("convert", "in", "--out-dir", "out", "--plan", "plan.toml", "--depfile", "again.d", "--json")
    assert '"up to date":3' in again.text
    assert Path("again.d").read_bytes() == Path("one.d").read_bytes()


def test_temperament_files_are_among_what_a_result_was_made_from(project):
    """Those of the command line, of retune.toml and of a plan, each once."""
    for name in ("a", "b", "c"):
        Path(f"{name}.toml").write_text("offsets = [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]\n")
    Path("plan.toml").write_text('fixed = ["2=b.toml on D", "2=a.toml"]\n')
    Path("retune.toml").write_text('fixed = ["1=c.toml", "2=just"]\n')
    given = ["in/slow.mid", "--plan", "plan.toml", "--depfile", "x.d"]
    result = run("convert", *given, "-o", "slow.mid", "--fixed", "1=a.toml")
    assert result.status == 0
    assert (
        Path("x.d").read_text().splitlines()[0] == "slow.mid: in/slow.mid plan.toml retune.toml a.toml b.toml"
    )
    run("convert", *given, "--out-dir", "out", "--jobs", "1")
    line = Path("x.d").read_text().splitlines()[0]
    assert line == "out/slow.mid: in/slow.mid plan.toml retune.toml c.toml b.toml a.toml"


def test_a_file_that_is_refused_has_no_rule(project):
    Path("in/letter.mid").write_text("not music")
    assert run("convert", "in", "--out-dir", "out", "--jobs", "1", "--depfile", "x.d").status == 1
    assert "letter" not in Path("x.d").read_text()
    assert Path("x.d").read_text().count("out/") == 3


@pytest.mark.parametrize("batch", [False, True])
@pytest.mark.skipif(sys.platform == "win32", reason="such names cannot be there")
def test_a_name_without_a_rule_is_refused_before_anything_is_written(project, batch):
    Path("in/slow.mid").rename("in/a=b.mid")
    given = ["in", "--out-dir", "out", "--jobs", "1"] if batch else ["in/a=b.mid", "-o", "b.mid"]
    result = run("convert", *given, "--depfile", "x.d")
    assert (result.status, result.out) == (2, b"")
    assert "in/a=b.mid: make has no way to write '=' in a name" in result.err
    assert not any(Path(name).exists() for name in ("b.mid", "x.d", "out"))


@pytest.mark.parametrize("name", ["in/slow.mid", "plan.toml", "out.mid", "retune.toml"])
def test_a_depfile_never_goes_over_anything_else(project, name):
    Path("retune.toml").write_text("glide = 5\n")
    before = {path.name: path.read_bytes() for path in project.rglob("*.*")}
    result = run("convert", "in/slow.mid", "-o", "out.mid", "--plan", "plan.toml", "--depfile", name)
    assert result.status == 2
    assert {path.name: path.read_bytes() for path in project.rglob("*.*")} == before

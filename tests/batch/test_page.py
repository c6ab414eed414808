"""The examples of docs/batch.md, run as they stand by a real shell and a real make."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest

from retune.pipeline import convert
from retune.settings import read_settings
from tests.batch.build import piece

PAGE = (Path(__file__).parents[2] / "docs" / "batch.md").read_text(encoding="utf-8")
SHELL, MAKE = shutil.which("sh"), shutil.which("make")
pytestmark = pytest.mark.skipif(SHELL is None, reason="no shell (sh) here")
needs_make = pytest.mark.skipif(MAKE is None, reason="make is not installed")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)


FOLDER, SHOW, LOOP, PIPE = blocks("sh")
RULES, AT_ONCE = blocks("make")
(SETTINGS,) = blocks("toml")
(DEPFILE,) = blocks("text")


@pytest.fixture
def project(tmp_path, monkeypatch):
    """A current folder with `scores/` and a command `retune` on the path."""
    (tmp_path / "bin").mkdir()
    command = tmp_path / "bin" / "retune"
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m retune "$@"\n')
    command.chmod(0o755)
    home = tmp_path / "project"
    (home / "scores").mkdir(parents=True)
    (home / "scores" / "hymn.mid").write_bytes(piece(0))
    (home / "scores" / "song.mid").write_bytes(piece(5))
    monkeypatch.chdir(home)
    root = Path(__file__).parents[2]
    monkeypatch.setenv("PATH", str(tmp_path / "bin"), prepend=os.pathsep)
    monkeypatch.setenv("PYTHONPATH", str(root), prepend=os.pathsep)
    return home


def shell(script: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([str(SHELL), "-c", script], capture_output=True, text=True, timeout=120)


def make(*options: str) -> list[str]:
    """The files that a run of make converted, or would with -n."""
    done = subprocess.run([str(MAKE), *options], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    return re.findall(r"^retune convert (\S+)", done.stdout, re.MULTILINE)


def change(path: str, content: bytes) -> None:
    Path(path).write_bytes(content)
    later = time.time() + 5  # clocks of file systems may be coarse
    os.utime(path, (later, later))


def test_a_folder_at_once(project):
    assert shell(FOLDER).returncode == 0
    assert sorted(path.name for path in Path("pure").glob("*.mid")) == ["hymn.mid", "song.mid"]
    assert len(Path("rows.jsonl").read_text().splitlines()) == 2


def test_the_settings_are_legal():
    assert read_settings(SETTINGS).options().fixed == ("program:0-7",)


def test_every_option_of_the_file_is_named():
    from retune.settings import NAMES

    (paragraph,) = re.findall(r"^A key is .*?\n\n", PAGE, re.MULTILINE | re.DOTALL)
    assert set(NAMES) <= set(re.findall(r"`([a-z0-9-]+)`", paragraph))


def test_options_in_force_become_those_of_the_project(project):
    assert shell(SHOW).returncode == 0
    said = tomllib.loads(Path("retune.toml").read_text())
    assert (said["preset"], said["prime-limit"]) == ("still-lines", 7)


@needs_make
def test_make_does_again_what_has_changed(project):
    Path("Makefile").write_text(RULES)
    Path("retune.toml").write_text(SETTINGS)
    Path("plans").mkdir()
    Path("plans/hymn.toml").write_text('ratios.maj = "1 5/4 3/2"\n')
    assert sorted(make()) == ["scores/hymn.mid", "scores/song.mid"]
    assert Path("pure/hymn.mid.d").read_text() == DEPFILE
    assert make() == []
    change("scores/song.mid", piece(7))
    assert make() == ["scores/song.mid"]
    change("plans/hymn.toml", b'ratios.maj = "1 81/64 3/2"\n')
    os.utime("pure/song.mid", (time.time() + 9, time.time() + 9))  # its score is dated ahead
    assert make() == ["scores/hymn.mid"]
    Path("plans/hymn.toml").unlink()
    assert make() == ["scores/hymn.mid"]


@needs_make
def test_make_sees_what_is_added_later(project):
    """Nothing that the depfiles could name: there was no plan and no retune.toml when the results were made."""
    Path("Makefile").write_text(RULES)
    Path("plans").mkdir()
    assert sorted(make()) == ["scores/hymn.mid", "scores/song.mid"]
    assert make("-n") == []
    change("plans/song.toml", b"")
    assert make("-n") == ["scores/song.mid"]
    change("retune.toml", SETTINGS.encode())
    assert make("-n") == ["scores/hymn.mid", "scores/song.mid"]


@needs_make
def test_make_at_once(project):
    Path("Makefile").write_text(AT_ONCE)
    assert make() == ["scores"]
    before = Path("pure/hymn.mid").stat().st_mtime_ns
    assert Path("pure.d").read_text().startswith("pure/hymn.mid: scores/hymn.mid\n")
    change("scores/song.mid", piece(7))
    make()
    assert Path("pure/hymn.mid").stat().st_mtime_ns == before
    assert Path("pure/song.mid").read_bytes() == convert(piece(7)).files[0].data


def test_a_shell_loop(project):
    Path("scores/letter.mid").write_text("Dear choir")
    done = shell(LOOP)
    assert done.stdout.splitlines() == ["hymn", "song"]
    assert done.stderr.splitlines()[-1] == "letter was left out"
    assert json.loads(Path("pure/hymn.json").read_text())["check"]["ok"]
    assert not Path("pure/letter.mid").exists()


def test_a_pipe(project):
    done = shell(PIPE)
    assert (done.returncode, done.stdout) == (0, "")

"""`retune convert … --out-dir`: many files."""

from __future__ import annotations

import json
import os
import shutil
import sys

import pytest

from tests.cli.inputs import TEXT
from tests.cli.run import HYMN, SAMPLES, process, run


@pytest.fixture
def folder(tmp_path):
    """Two good files, one of them in a folder of its own, and one that is no music."""
    (tmp_path / "in" / "deep").mkdir(parents=True)
    shutil.copy(HYMN, tmp_path / "in")
    shutil.copy(SAMPLES / "slow_piano.mid", tmp_path / "in" / "deep")
    (tmp_path / "in" / "letter.mid").write_bytes(TEXT)
    return tmp_path / "in"


def test_good_files_are_converted_and_the_bad_one_is_named(folder, tmp_path):
    out = tmp_path / "out"
    result = run("convert", folder, "--out-dir", out, "--jobs", "1")
    assert result.status == 1
    assert result.text.startswith("2 converted, 1 refused in ")
    refused, summary = result.err.splitlines()
    assert "letter.mid: this is a text file" in refused
    assert summary == "retune: 1 of 3 files could not be converted; each is named above"
    alone = tmp_path / "alone.mid"
    run("convert", HYMN, "-o", alone)
    assert (out / "evening_hymn.mid").read_bytes() == alone.read_bytes()
    assert (out / "deep" / "slow_piano.mid").exists()
    assert not (out / "letter.mid").exists()


def test_second_run_does_nothing_unless_forced(folder, tmp_path):
    (folder / "letter.mid").unlink()
    out = tmp_path / "out"
    run("convert", folder, "--out-dir", out, "--jobs", "1")
    before = (out / "evening_hymn.mid").stat().st_mtime_ns
    again = json.loads(run("convert", folder, "--out-dir", out, "--jobs", "1", "--json").out)
    assert again["counts"] == {"up to date": 2}
    assert (out / "evening_hymn.mid").stat().st_mtime_ns == before
    forced = run("convert", folder, "--out-dir", out, "--jobs", "1", "--force")
    assert forced.text.startswith("2 converted in ")


def test_manifest_has_a_row_a_file(folder, tmp_path):
    manifest = tmp_path / "rows.jsonl"
    run("convert", folder, "--out-dir", tmp_path / "out", "--jobs", "1", "--manifest", manifest, "--quiet")
    rows = [json.loads(line) for line in manifest.read_text(encoding="utf-8").splitlines()]
    assert sorted((os.path.basename(row["source"]), row["status"]) for row in rows) == [
        ("evening_hymn.mid", "converted"),
        ("letter.mid", "refused"),
        ("slow_piano.mid", "converted"),
    ]


def test_options_and_plan_reach_every_file(folder, tmp_path):
    plan, alone = tmp_path / "plan.toml", tmp_path / "alone.mid"
    plan.write_text('ratios.min = "1 7/6 3/2"\n')
    given = ["--plan", plan, "--prime-limit", "7"]
    run("convert", folder / "evening_hymn.mid", "--out-dir", tmp_path / "out", "--jobs", "1", *given)
    run("convert", HYMN, "-o", alone, *given)
    assert (tmp_path / "out" / "evening_hymn.mid").read_bytes() == alone.read_bytes()


def test_a_process_of_its_own_uses_several_cores(folder, tmp_path):
    (folder / "letter.mid").unlink()
    result = process("convert", folder, "--out-dir", tmp_path / "out", "--jobs", "2", timeout=120)
    assert (result.status, result.err) == (0, "")
    assert result.text.startswith("2 converted in ")


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="file names are Unicode there")
def test_names_that_are_not_unicode(tmp_path):
    name = os.fsdecode(b"caf\xe9.mid")
    shutil.copy(HYMN, tmp_path / name)
    out = tmp_path / "out"
    result = run("convert", tmp_path / name, "--out-dir", out, "--jobs", "1", "--json")
    assert (result.status, result.err) == (0, "")
    assert json.loads(result.out)["files"][0]["target"] == str(out / name)
    assert (out / name).exists()
    assert run("convert", tmp_path / name, "-o", tmp_path / "x.mid").status == 0
    assert "caf·.mid: no such file" in run("convert", out / "no" / name, "-o", "x.mid").err


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ([HYMN, HYMN], "2 inputs need a folder for their results: --out-dir DIR"),
        ([HYMN, "--out-dir", "out", "-o", "x.mid"], "--out-dir goes without -o and --report"),
        ([HYMN, "-o", "x.mid", "--force"], "--manifest, --jobs, --force and --scheduler go with --out-dir"),
        (["-", "--out-dir", "out"], "--out-dir takes files and folders, not standard input"),
        (["nowhere*.mid", "--out-dir", "out"], "nothing matches"),
    ],
)
def test_wrong_usage(arguments, message, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    result = run("convert", *arguments)
    assert (result.status, result.out, result.err.count("\n")) == (2, b"", 1)
    assert message in result.err
    assert list(tmp_path.iterdir()) == []

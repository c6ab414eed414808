"""`retune convert … --out-dir`: many files."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys

import pytest

from retune.cli.many import SHOWN_REMARKS
from tests.cli.inputs import NO_NOTES, TEXT
from tests.cli.run import HYMN, SAMPLES, process, refused, run
from tests.encode.build import file_of, in_order, note


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
    lines = result.text.splitlines()
    assert [line.split()[:2] for line in lines[:5]] == [
        ["files", "became"],
        ["2", "converted"],
        ["0", "mended"],
        ["0", "up"],
        ["1", "refused"],
    ]
    assert lines[4] == "    1  refused"  # why is said on stderr, when it comes
    assert lines[5].endswith(f"results in {out}")
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
    assert "    2  converted\n" in forced.text


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
    assert "    2  converted\n" in result.text


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
        ([HYMN, "--out-dir", "out", "-o", "x.mid"], "--out-dir goes without -o, --per-part and --report"),
        ([HYMN, "-o", "x.mid", "--force"], "--manifest, --jobs, --force and --scheduler go with --out-dir"),
        (["-", "--out-dir", "out"], "--out-dir takes files and folders, not standard input"),
        (["nowhere*.mid", "--out-dir", "out"], "nothing matches"),
        ([HYMN, "--out-dir", "-"], "--out-dir and --manifest need a name, not standard output"),
        ([HYMN, "--out-dir", "out", "--manifest", "-"], "--out-dir and --manifest need a name"),
        ([HYMN], "say where to write the retuned file: -o OUTPUT, --per-part DIR"),
        ([], "missing argument 'INPUT...'"),
        ([HYMN, "-o", "-", "--depfile", "x.d"], "--depfile needs an OUTPUT with a name"),
        ([SAMPLES, "-o", "x.mid"], "this is a folder; name a file in it, or use --out-dir"),
    ],
)
def test_wrong_usage(arguments, message, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    refused(arguments, message, tmp_path)


@pytest.mark.parametrize("option", ["--manifest", "--depfile"])
@pytest.mark.parametrize(
    "name", ["in/evening_hymn.mid", "out/evening_hymn.mid", "plan.toml", "out/.retune-state.jsonl"]
)
def test_rows_and_rules_never_go_over_music_or_plan(folder, tmp_path, option, name):
    (tmp_path / "plan.toml").write_text("fixed = []\n")
    before = (folder / "evening_hymn.mid").read_bytes()
    arguments = [folder, "--out-dir", tmp_path / "out", "--plan", tmp_path / "plan.toml", "--jobs", "1"]
    result = run("convert", *arguments, option, tmp_path / name)
    assert result.status == 2
    assert "this file is music or kept by this run; choose another name" in result.err
    assert (folder / "evening_hymn.mid").read_bytes() == before
    assert not (tmp_path / "out").exists()


def test_quiet_still_names_what_failed(folder, tmp_path):
    result = run("convert", folder, "--out-dir", tmp_path / "out", "--jobs", "1", "--quiet")
    assert (result.status, result.out) == (1, b"")
    assert "letter.mid: this is a text file" in result.err.splitlines()[0]


def test_files_refused_for_one_reason_share_a_row(folder, tmp_path):
    (folder / "deep" / "letter 2.mid").write_bytes(TEXT)
    (folder / "silence.mid").write_bytes(NO_NOTES)
    result = run("convert", folder, "--out-dir", tmp_path / "out", "--jobs", "1")
    rows = result.text.splitlines()[4:6]
    assert rows[0].split()[:2] == ["2", "refused"]
    assert "letter 2.mid and 1 more: this is a text file" in rows[0]
    assert rows[1].split() == ["1", "refused"]
    assert "silence.mid: no notes in this file" in result.err


def test_what_is_up_to_date_is_not_remarked_on_again(folder, tmp_path):
    (folder / "letter.mid").unlink()
    data = (folder / "evening_hymn.mid").read_bytes()
    (folder / "evening_hymn.mid").write_bytes(data[:-6])  # cut short
    first, second = (run("convert", folder, "--out-dir", tmp_path / "out", "--jobs", "1") for _ in range(2))
    assert "    1  mended\n" in first.text
    assert "evening_hymn.mid: " in first.err
    assert (second.status, second.err) == (0, "")


HELPERS = """
import sys
from retune.cli.main import main
main(sys.argv[1:])
print("rich" in sys.modules)
"""


def test_a_display_is_loaded_for_a_terminal_only(folder, tmp_path):
    command = [
        sys.executable,
        "-c",
        HELPERS,
        "convert",
        str(folder),
        "--out-dir",
        str(tmp_path / "out"),
        "-q",
    ]
    done = subprocess.run([*command, "--jobs", "1"], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout == "False\n"


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
@pytest.mark.parametrize("columns", [100, 40])
def test_on_a_terminal_a_bar_shows_rate_and_time_left(columns, folder, tmp_path):
    """On a narrow one only how many and how long, in one line."""
    import pty

    for i in range(8):
        shutil.copy(HYMN, folder / f"{i}.mid")
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "retune", "convert", str(folder), "--out-dir", str(tmp_path / "out")]
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": str(columns)}
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=theirs, env=environment) as running:
        os.close(theirs)
        shown = b""
        while piece := _read(ours):
            shown += piece
        assert running.stdout is not None
        table = running.stdout.read().decode()
        assert running.wait(60) == 1
    os.close(ours)
    text = shown.decode()
    assert "/11" in text
    assert bool(re.search(r"[\d.]+ files/s", text)) == (columns == 100)
    assert re.search(r"\d+:\d\d:\d\d", text)
    assert f"retune: {folder / 'letter.mid'}: this is a text file" in text  # in one piece, however long
    assert "   10  converted\n" in table


def _read(terminal: int) -> bytes:
    """What a terminal shows next; nothing once the program is gone."""
    try:
        return os.read(terminal, 65536)
    except OSError:
        return b""


def test_an_error_about_an_option_names_the_file(tmp_path):
    result = run(
        "convert", HYMN, SAMPLES / "string_trio.mid", "--out-dir", tmp_path, "--fixed", "Piano", "--jobs", 1
    )
    assert result.status == 1
    assert f"retune: {HYMN}: fixed part 'Piano': no such part; the parts are 1 Soprano, " in result.err
    assert (tmp_path / "string_trio.mid").exists()


def test_a_range_of_programs_takes_what_there_is_in_each_file(tmp_path):
    many = run(
        "convert",
        HYMN,
        SAMPLES / "string_trio.mid",
        "--out-dir",
        tmp_path,
        "--fixed",
        "program:0-7",
        "--jobs",
        1,
    )
    assert many.status == 0, many.err
    alone = run("convert", HYMN, "-o", tmp_path / "x.mid", "--fixed", "program:0-7")
    assert (alone.status, "no pitched part has such a program" in alone.err) == (2, True)
    run("convert", SAMPLES / "string_trio.mid", "-o", tmp_path / "y.mid", "--fixed", "Pia")
    assert (tmp_path / "y.mid").read_bytes() == (tmp_path / "string_trio.mid").read_bytes()


def test_of_many_remarks_the_first_are_said(folder, tmp_path):
    """A file with more tunings at once than channels, bar after bar."""
    chords = [note(1920 * k, 1920 * k + 1900, 36 + n * 4 + n % 3, n) for k in range(12) for n in range(14)]
    more = [note(1920 * k, 1920 * k + 1900, 50 + n * 3, n) for k in range(12) for n in range(9)]
    (folder / "crowd.mid").write_bytes(file_of([in_order(*chords, *more)]))
    result = run("convert", folder / "crowd.mid", "--out-dir", tmp_path / "out", "--jobs", "1")
    lines = [line for line in result.err.splitlines() if "crowd.mid" in line]
    assert len(lines) == SHOWN_REMARKS + 1
    assert re.search(r"crowd.mid: and \d+ more remarks; --manifest lists all$", lines[-1])


def test_a_pipe_is_not_waited_for(folder, tmp_path):
    os.mkfifo(folder / "pipe.mid")
    (folder / "letter.mid").unlink()
    result = run("convert", folder, "--out-dir", tmp_path / "out", "--jobs", "1")
    assert (result.status, "    2  converted\n" in result.text) == (0, True)
    alone = run("convert", folder / "pipe.mid", "--out-dir", tmp_path / "out")
    assert alone.status == 2
    assert "this is a pipe or a device" in alone.err

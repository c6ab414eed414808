"""Input that is missing, broken or odd: exit status, one line, nothing half-written, input untouched."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.inputs import (
    DIVISION_ZERO,
    EMPTY,
    NO_NOTES,
    ONE_NOTE,
    ONLY_PERCUSSION,
    TEXT,
    TRUNCATED_HEADER,
    orchestra,
)
from tests.cli.run import HYMN, Result, process, run

REFUSED = {
    "empty": (EMPTY, "the file is empty"),
    "text": (TEXT, "this is a text file, not a MIDI file"),
    "no-notes": (NO_NOTES, "no notes in this file, so there is nothing to retune"),
    "division-zero": (DIVISION_ZERO, "0 ticks per quarter note"),
    "truncated-header": (TRUNCATED_HEADER, "breaks off inside its header"),
}
ACCEPTED = {
    "one-note": ONE_NOTE,
    "only-percussion": ONLY_PERCUSSION,
    "truncated": Path(HYMN).read_bytes()[:700],
    "twenty-tunings": orchestra(5, 4),
}


def commands(path: Path, folder: Path) -> list[list[object]]:
    return [["convert", path, "-o", folder / "out.mid"], ["analyze", path, "--plan", folder / "plan.toml"]]


def refused(result: Result) -> None:
    assert result.status == 2
    assert result.out == b""
    assert result.err.startswith("retune: ")
    assert result.err.count("\n") == 1
    assert "Traceback" not in result.err


@pytest.mark.parametrize("kind", REFUSED)
def test_what_is_no_music_is_refused_in_one_line(kind, tmp_path):
    data, message = REFUSED[kind]
    path = tmp_path / f"{kind}.mid"
    path.write_bytes(data)
    for arguments in commands(path, tmp_path):
        result = run(*arguments)
        refused(result)
        assert f"{kind}.mid" in result.err
        assert message in result.err
    assert path.read_bytes() == data
    assert [found.name for found in tmp_path.iterdir()] == [path.name]


def test_missing_file_and_folder(tmp_path):
    for path, message in ((tmp_path / "missing.mid", "no such file"), (tmp_path, "this is a folder")):
        for arguments in commands(path, tmp_path):
            result = run(*arguments)
            refused(result)
            assert message in result.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("kind", ACCEPTED)
def test_odd_music_is_converted(kind, tmp_path):
    path = tmp_path / f"{kind}.mid"
    path.write_bytes(ACCEPTED[kind])
    for arguments in commands(path, tmp_path):
        result = run(*arguments)
        assert result.status == 0, result.err
        assert "Traceback" not in result.err
        assert all(line.startswith("retune: ") for line in result.err.splitlines())
    assert path.read_bytes() == ACCEPTED[kind]
    assert sorted(found.name for found in tmp_path.iterdir()) == sorted([path.name, "out.mid", "plan.toml"])


def test_truncated_file_says_what_was_mended(tmp_path):
    path = tmp_path / "short.mid"
    path.write_bytes(ACCEPTED["truncated"])
    result = run("convert", path, "-o", tmp_path / "out.mid")
    assert "short.mid" in result.err
    assert "track 4" in result.err
    assert run("convert", path, "-o", tmp_path / "out.mid", "--quiet").err == ""


def test_more_tunings_than_channels_is_told_with_the_bar(tmp_path):
    path = tmp_path / "full.mid"
    path.write_bytes(ACCEPTED["twenty-tunings"])
    result = run("convert", path, "-o", tmp_path / "out.mid")
    assert "bar 1" in result.err


def test_nothing_is_written_where_the_folder_is_missing(tmp_path):
    result = run("convert", HYMN, "-o", tmp_path / "none" / "out.mid")
    refused(result)
    assert "does not exist; create it first" in result.err


def test_a_process_of_its_own_says_the_same(tmp_path):
    path = tmp_path / "text.mid"
    path.write_bytes(TEXT)
    for arguments in commands(path, tmp_path):
        result = process(*arguments)
        refused(result)
        assert result == run(*arguments)
    piped = process("convert", "-", "-o", tmp_path / "out.mid", stdin=TEXT)
    refused(piped)
    assert piped.err.startswith("retune: standard input: this is a text file")
    assert not (tmp_path / "out.mid").exists()

"""`retune check` as a user runs it."""

from __future__ import annotations

import json
from dataclasses import fields
from pathlib import Path

import mido
import pytest

from retune.check import check
from retune.check.kept.fidelity import Fidelity
from retune.cli.check import COUNTS
from retune.harmony import find_harmony
from retune.score import read_score
from tests.check.build import smf
from tests.check.music import bent, real_file
from tests.check.test_check import meantone
from tests.cli.run import run


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path]:
    original, retuned = tmp_path / "chorale.mid", tmp_path / "meantone.mid"
    original.write_bytes(real_file("bach/bwv66.6"))
    retuned.write_bytes(bent(real_file("bach/bwv66.6"), meantone))
    return original, retuned


def test_faithful_file(files: tuple[Path, Path]) -> None:
    result = run("check", *files)
    assert (result.status, result.err) == (0, "")
    assert result.text.startswith("faithful: 163 notes and ")
    assert "least pure bars" in result.text


def test_json_is_what_the_library_says(files: tuple[Path, Path]) -> None:
    result = run("check", *files, "--json")
    score = read_score(files[0].read_bytes())
    report = check(score, files[1].read_bytes(), harmony=find_harmony(score))
    assert json.loads(result.text) == json.loads(json.dumps(report.as_json()))
    assert report.after.displacement_max_cents > 10


def test_reference_pitch_moves_the_displacement(files: tuple[Path, Path]) -> None:
    """442 Hz is 7.85 cents above 440 (ISO 16:1975 is 440)."""
    ends = [
        json.loads(run("check", *files, "--json", *more).text)["after"]["displacement_end_cents"]
        for more in ((), ("--reference", "442"))
    ]
    assert ends[0] - ends[1] == pytest.approx(7.85, abs=0.005)


def test_loss_is_named_and_gives_status_1(tmp_path: Path) -> None:
    (tmp_path / "a.mid").write_bytes(smf("00 90 40 40 00 90 43 40 60 80 40 40 00 80 43 40"))
    (tmp_path / "b.mid").write_bytes(smf("00 90 40 40 60 80 40 40"))
    result = run("check", tmp_path / "a.mid", tmp_path / "b.mid")
    assert result.status == 1
    assert "1 note is missing; first G4 in track 1 channel 1 at bar 1, beat 1" in result.text
    assert run("check", tmp_path / "a.mid", tmp_path / "b.mid", "--quiet").text == ""


def test_every_count_of_a_loss_has_a_row(files: tuple[Path, Path]) -> None:
    """An added controller is no loss of anything, and still a row of the table."""
    file = mido.MidiFile(files[1])
    file.tracks[1].insert(0, mido.Message("control_change", channel=0, control=91, value=99))
    file.save(files[1])
    result = run("check", *files)
    assert result.status == 1
    assert "other events too many" in result.text
    assert set(COUNTS) == {field.name for field in fields(Fidelity)} - {"notes", "events"}


@pytest.mark.parametrize("spoil", ["missing", "text", "reference"])
def test_bad_input_gives_one_line_and_status_2(files: tuple[Path, Path], spoil: str, tmp_path: Path) -> None:
    (tmp_path / "letter.mid").write_text("Dear choir")
    arguments = {
        "missing": (files[0], tmp_path / "nothing.mid"),
        "text": (files[0], tmp_path / "letter.mid"),
        "reference": (*files, "--reference", "20"),
    }[spoil]
    result = run("check", *arguments)
    assert (result.status, result.text) == (2, "")
    assert result.err.startswith("retune: ")
    assert result.err.count("\n") == 1


def test_second_file_from_standard_input(files: tuple[Path, Path]) -> None:
    assert run("check", files[0], "-", stdin=files[1].read_bytes()).status == 0

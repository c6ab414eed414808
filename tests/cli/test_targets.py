"""Where results may go is known before the first is written."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.cli.inputs import orchestra
from tests.cli.run import HYMN, run


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shutil.copy(HYMN, "in.mid")
    Path("plan.toml").write_text("fixed = []\n")
    Path("sub").mkdir()
    return tmp_path


def contents(folder: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("option", ["-o", "--report", "--depfile"])
@pytest.mark.parametrize(
    ("place", "said"),
    [
        ("none/x", "does not exist; create it first"),
        ("sub", "this is a folder"),
        ("", "the name of an output is empty"),
        ("in.mid", "this is the input file itself"),
        ("plan.toml", "this is the input file itself"),
    ],
)
def test_nothing_is_written_if_one_target_cannot_be(folder, option, place, said):
    before = contents(folder)
    places = {"-o": "out.mid", "--report": "out.json", "--depfile": "out.d", option: place}
    result = run(
        "convert", "in.mid", "--plan", "plan.toml", *(word for pair in places.items() for word in pair)
    )
    assert (result.status, result.out, result.err.count("\n")) == (2, b"", 1)
    assert said in result.err
    assert contents(folder) == before


def test_two_results_need_two_names(folder):
    before = contents(folder)
    result = run("convert", "in.mid", "-o", "out.mid", "--report", "sub/../out.mid")
    assert (result.status, "two results would go to this file" in result.err) == (2, True)
    assert contents(folder) == before


def test_the_names_of_several_files_count_too(folder):
    """20 tunings, 15 channels: the second file goes beside the first, and must not go over anything else."""
    Path("big.mid").write_bytes(orchestra(5, 4))
    assert run("convert", "big.mid", "-o", "sub/x.mid", "--when-full", "files").status == 0
    others = sorted(path.name for path in Path("sub").iterdir() if path.name != "x.mid")
    assert others
    shutil.rmtree("sub")
    Path(others[0]).write_bytes(Path("big.mid").read_bytes())
    before = contents(folder)
    over_input = run("convert", others[0], "-o", "x.mid", "--when-full", "files")
    over_report = run("convert", "big.mid", "-o", "x.mid", "--when-full", "files", "--report", others[0])
    assert (over_input.status, over_report.status) == (2, 2)
    assert contents(folder) == before


@pytest.mark.parametrize("option", ["--manifest", "--depfile"])
@pytest.mark.parametrize("place", ["none/x", "sub", ""])
def test_nothing_of_a_batch_is_written_either(folder, option, place):
    before = contents(folder)
    result = run("convert", "in.mid", "--out-dir", "out", option, place)
    assert (result.status, result.out, result.err.count("\n")) == (2, b"", 1)
    assert contents(folder) == before


@pytest.mark.parametrize("out_dir", ["", "plan.toml"])
def test_a_folder_for_results_is_a_folder(folder, out_dir):
    result = run("convert", "in.mid", "--out-dir", out_dir)
    assert (result.status, result.err.count("\n")) == (2, 1)


@pytest.mark.parametrize("command", [["analyze", "in.mid", "--plan"], ["preview", "in.mid", "-o"]])
@pytest.mark.parametrize("place", ["none/x.html", ""])
def test_other_commands_look_first_as_well(folder, command, place):
    result = run(*command, place)
    assert (result.status, result.out, result.err.count("\n")) == (2, b"", 1)


def test_a_clip_is_not_named_as_a_midi_file_nor_the_reverse(folder):
    before = contents(folder)
    clip = run("convert", "in.mid", "-o", "out.MID", "--encoding", "midi2")
    file = run("convert", "in.mid", "-o", "out.midi2")
    assert (clip.status, file.status) == (2, 2)
    assert "out.MID: --encoding midi2 writes a MIDI 2.0 clip, not a MIDI file; name it out.midi2" in clip.err
    assert "name it out.mid\n" in file.err
    assert contents(folder) == before
    assert run("convert", "in.mid", "-o", "out.midi2", "--encoding", "midi2").status == 0
    assert Path("out.midi2").read_bytes()[:8] == b"SMF2CLIP"  # M2-116-U: a clip file begins so


@pytest.mark.parametrize(
    "arguments",
    [
        ["convert", "", "-o", "x.mid"],
        ["convert", "in.mid", "-o", "x.mid", "--plan", ""],
        ["preview", "in.mid", "-o", ""],
        ["plot", "in.mid", "-o", ""],
        ["parts", "in.mid", "-o", ""],
    ],
)
def test_an_empty_name_is_called_so(folder, arguments):
    result = run(*arguments)
    assert (result.status, result.out, result.err.count("\n")) == (2, b"", 1)
    assert "put is empty; say" in result.err


def test_an_output_without_its_option_is_recognised(folder):
    before = contents(folder)
    result = run("convert", "in.mid", "out.mid")
    assert (result.status, "if it is where the result goes, say -o out.mid" in result.err) == (2, True)
    shutil.copy("in.mid", "other.mid")
    assert "2 inputs need a folder" in run("convert", "in.mid", "other.mid").err
    Path("other.mid").unlink()
    assert contents(folder) == before


@pytest.mark.parametrize(
    ("name", "instead"),
    [
        ("out.wav", "retune preview"),
        ("out.HTML", "retune preview"),
        ("out.csv", "retune parts"),
        ("o.png", "plot"),
    ],
)
def test_music_is_not_hidden_in_a_file_of_another_kind(folder, name, instead):
    before = contents(folder)
    result = run("convert", "in.mid", "-o", name)
    assert (result.status, result.out, result.err.count("\n")) == (2, b"", 1)
    assert "convert writes MIDI; name it" in result.err
    assert instead in result.err
    assert contents(folder) == before


def test_what_was_written_is_said_unless_quiet(folder):
    for command, name in (("parts", "sheet.html"), ("preview", "tune.wav"), ("preview", "tune.html")):
        short = ("--bars", "1") if name.endswith("wav") else ()
        assert run(command, "in.mid", "-o", name, *short).text.endswith(f"written: {name}\n")
        assert run(command, "in.mid", "-o", name, *short, "--quiet").out == b""
    assert run("analyze", "in.mid", "--plan", "new.toml").text.endswith("written: new.toml\n")

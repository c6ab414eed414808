"""`retune convert`: files and streams, options, plan, report, and what it refuses to do."""

from __future__ import annotations

import io
import json
import os
import shutil
import stat
from pathlib import Path

import mido
import pretty_midi
import pytest

from retune.options import Options
from retune.pipeline import convert
from tests.cli.run import HYMN, SAMPLES, process, refused, run

NAMES = sorted(path.stem for path in SAMPLES.glob("*.mid"))


@pytest.mark.parametrize("name", NAMES)
def test_command_writes_what_the_library_returns(name, tmp_path):
    source, out = SAMPLES / f"{name}.mid", tmp_path / "out.mid"
    assert run("convert", source, "-o", out).status == 0
    (file,) = convert(source.read_bytes()).files
    assert out.read_bytes() == file.data


@pytest.mark.parametrize("name", NAMES)
def test_notes_survive_as_another_reader_sees_them(name, tmp_path):
    """pretty_midi reads the same notes, times and velocities before and after (an independent reader)."""

    def notes(path: Path) -> list[tuple[object, ...]]:
        music = pretty_midi.PrettyMIDI(str(path))
        return sorted(
            (instrument.program, instrument.is_drum, note.pitch, note.velocity, note.start, note.end)
            for instrument in music.instruments
            for note in instrument.notes
        )

    out = tmp_path / "out.mid"
    run("convert", SAMPLES / f"{name}.mid", "-o", out)
    assert notes(out) == notes(SAMPLES / f"{name}.mid")


def test_streams_carry_the_same_bytes(tmp_path):
    out = tmp_path / "out.mid"
    run("convert", HYMN, "-o", out)
    piped = process("convert", "-", "-o", "-", stdin=Path(HYMN).read_bytes())
    assert (piped.status, piped.err) == (0, "")
    assert piped.out == out.read_bytes()
    assert len(mido.MidiFile(file=io.BytesIO(piped.out)).tracks) >= 5


def test_summary_tells_what_changed(tmp_path):
    out = tmp_path / "out.mid"
    result = run("convert", HYMN, "-o", out)
    lines = result.text.splitlines()
    assert lines[0].startswith("Lanterns on the Water: 103 notes in 4 parts, ")
    checked = convert(Path(HYMN).read_bytes()).checked
    share = next(line for line in lines if line.startswith("time within 1 cent of pure")).split()
    before, after = checked.before.share_within_1_cent, checked.after.share_within_1_cent
    assert share[-3:] == [f"{100 * before:.1f}", f"{100 * after:.1f}", "%"]
    assert lines[-1] == f"written: {out}"
    assert result.err == ""


def test_json_and_report_are_the_same_document(tmp_path):
    report = tmp_path / "report.json"
    result = run("convert", HYMN, "-o", tmp_path / "out.mid", "--json", "--report", report)
    shown = json.loads(result.out)
    assert shown == json.loads(report.read_bytes())
    assert shown["written"] == [str(tmp_path / "out.mid")]
    assert shown["format"] == 1
    assert shown["check"]["ok"] is True
    figures = {
        "mean_deviation_cents",
        "share_within_1_cent",
        "deviation_p95_cents",
        "held_movement_max_cents",
        "held_movement_p99_cents",
        "repeat_shift_p95_cents",
        "displacement_max_cents",
        "displacement_end_cents",
    }
    assert set(shown["check"]["after"]) == figures
    assert shown["check"]["after"]["share_within_1_cent"] > shown["check"]["before"]["share_within_1_cent"]


def test_quiet_prints_nothing_and_still_writes(tmp_path):
    out = tmp_path / "out.mid"
    result = run("convert", HYMN, "-o", out, "--quiet")
    assert (result.status, result.out, result.err) == (0, b"", "")
    assert out.stat().st_size > Path(HYMN).stat().st_size


@pytest.mark.parametrize(
    ("arguments", "options"),
    [
        (["--drift-limit", "none"], {"drift_limit_cents": float("inf")}),
        (["--hold-limit", "3"], {"hold_limit_cents": 3.0}),
        (["--prime-limit", "7", "--reference", "432"], {"prime_limit": 7, "reference_hz": 432.0}),
        (["--bend-range", "12"], {"bend_range_semitones": 12}),
        (["--fixed", "Alto", "--fixed", "3"], {"fixed": ("Alto", "3")}),
        (["--home", "tonic"], {"home": "tonic"}),
        (["--encoding", "mpe", "--use-channel-10"], {"encoding": "mpe", "keep_channel_10_free": False}),
        (["--encoding", "mpe", "--keep-channel-10-free"], {"encoding": "mpe", "keep_channel_10_free": True}),
    ],
)
def test_options_reach_the_library(arguments, options, tmp_path):
    out = tmp_path / "out.mid"
    assert run("convert", HYMN, "-o", out, *arguments).status == 0
    assert out.read_bytes() == convert(Path(HYMN).read_bytes(), Options(**options)).files[0].data


def test_channel_10_is_for_drums_unless_told_otherwise(tmp_path, monkeypatch):
    """Channel 10 plays drums (General MIDI 1, RP-003 p. 2), on many receivers in an MPE zone too."""
    monkeypatch.chdir(tmp_path)

    def channels(*arguments: str) -> set[int]:
        run("convert", HYMN, "-o", "out.mid", "--encoding", "mpe", "--quiet", *arguments)
        return {m.channel + 1 for m in mido.MidiFile("out.mid") if m.type == "note_on"}

    assert channels() == set(range(2, 17)) - {10}
    assert channels("--use-channel-10") == set(range(2, 17))
    Path("retune.toml").write_text("keep-channel-10-free = false\n")
    assert channels() == set(range(2, 17))
    assert channels("--keep-channel-10-free") == set(range(2, 17)) - {10}


def test_unedited_plan_gives_the_same_bytes(tmp_path):
    plan, plain, planned = tmp_path / "plan.toml", tmp_path / "plain.mid", tmp_path / "planned.mid"
    run("analyze", HYMN, "--plan", plan, "--quiet")
    run("convert", HYMN, "-o", plain, "--quiet")
    assert run("convert", HYMN, "-o", planned, "--plan", plan, "--quiet").status == 0
    assert planned.read_bytes() == plain.read_bytes()


def test_edited_chord_is_heard_in_the_result(tmp_path):
    """The seventh chord of bar 2 tuned 4:5:6:7: its seventh lies 968.8 cents above the root (7/4)."""
    tag, plan, out = SAMPLES / "close_harmony_tag.mid", tmp_path / "plan.toml", tmp_path / "out.mid"
    run("analyze", tag, "--plan", plan, "--quiet")
    text = plan.read_text(encoding="utf-8")
    (row,) = (line for line in text.splitlines() if line.startswith('  {at = "2.1"'))
    plan.write_text(text.replace(row, row.replace("},", ', ratios = "4:5:6:7"},')), encoding="utf-8")
    assert run("convert", tag, "-o", out, "--plan", plan, "--preset", "pure-chords", "--quiet").status == 0
    sounding = _offsets(out, tick=int(1.2 * 1920))
    c4, b_flat_3 = 60, 58
    assert sounding[b_flat_3] - sounding[c4] == pytest.approx(968.83 - 1000.0, abs=1.0)


def _offsets(path: Path, tick: int) -> dict[int, float]:
    """Offset [cents] of each key that sounds at a tick, from its channel's bend at a range of two semitones."""
    bends: dict[int, int] = {}
    keys: dict[int, float] = {}
    events = []
    for track in mido.MidiFile(path).tracks:
        at = 0
        for message in track:
            at += message.time
            events.append((at, message.type == "note_on", message))
    for at, _, message in sorted(events, key=lambda event: event[:2]):
        if at > tick:
            break
        if message.type == "pitchwheel":
            bends[message.channel] = message.pitch
        elif message.type == "note_on" and message.velocity:
            keys[message.note] = bends.get(message.channel, 0) * 200 / 8192
        elif message.type in ("note_off", "note_on"):
            keys.pop(message.note, None)
    return keys


def test_several_files_stand_beside_the_main_one(tmp_path):
    """Too many programs for the channels of one file, `--when-full files`."""
    from tests.cli.inputs import orchestra

    source, out = tmp_path / "in.mid", tmp_path / "out.mid"
    source.write_bytes(orchestra(6, 4))
    assert run("convert", source, "-o", out, "--when-full", "files").status == 0
    files = convert(source.read_bytes(), Options(when_full="files")).files
    assert len(files) > 1
    written = {path.name for path in tmp_path.iterdir()} - {"in.mid"}
    assert written == {f"out{file.suffix}{file.extension}" for file in files}
    refused = run("convert", source, "-o", "-", "--when-full", "files")
    assert (refused.status, refused.out) == (2, b"")
    assert "standard output takes one file" in refused.err


def test_output_over_any_input_is_refused(tmp_path):
    music, link, plan = tmp_path / "a.mid", tmp_path / "link.mid", tmp_path / "plan.toml"
    shutil.copy(HYMN, music)
    link.symlink_to(music)
    run("analyze", music, "--plan", plan, "--quiet")
    before = (music.read_bytes(), plan.read_bytes())
    for arguments in (
        [music, "-o", music],
        [music, "-o", link],
        [music, "-o", tmp_path / "." / "a.mid"],
        [music, "-o", plan, "--plan", plan],
        [music, "-o", tmp_path / "out.mid", "--report", music],
    ):
        result = run("convert", *arguments)
        assert (result.status, result.out) == (2, b"")
        assert "this is the input file itself" in result.err
    assert (music.read_bytes(), plan.read_bytes()) == before
    assert not (tmp_path / "out.mid").exists()


def test_report_and_output_are_two_files(tmp_path):
    result = run("convert", HYMN, "-o", tmp_path / "x", "--report", tmp_path / "x")
    assert result.status == 2
    assert "x: two results would go to this file; name two files" in result.err
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ([HYMN], "say where to write the retuned file: -o OUTPUT"),
        ([HYMN, "-o", "-", "--json"], "--json and -o - both want standard output"),
        ([HYMN, "-o", "-", "--report", "-"], "-o - and --report - both want standard output"),
        ([HYMN, "-o", "x.mid", "--json", "--report", "-"], "--json and --report - both want standard output"),
        (["-", "-o", "x.mid", "--plan", "-"], "the music and the plan both want standard input"),
        ([HYMN, "-o", "x.mid", "--encoding", "mpee"], "nearest: mpe"),
        ([HYMN, "-o", "x.mid", "--bend-range", "0"], "bend range: 0 is outside 1 to 96 semitones"),
        ([HYMN, "-o", "x.mid", "--when-full", "port"], "nearest: ports"),
    ],
)
def test_wrong_usage(arguments, message, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    refused(arguments, message, tmp_path)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="needs a user whose rights count")
def test_folder_without_rights(tmp_path):
    tmp_path.chmod(stat.S_IRUSR | stat.S_IXUSR)
    result = run("convert", HYMN, "-o", tmp_path / "out.mid")
    tmp_path.chmod(stat.S_IRWXU)
    assert result.status == 2
    assert "check the rights of the folder" in result.err


def test_a_report_on_standard_output_stands_alone(tmp_path):
    result = run("convert", HYMN, "-o", tmp_path / "out.mid", "--report", "-")
    assert json.loads(result.out)["check"]["ok"]

"""`retune convert FILE --per-part DIR`: a complete file for each part."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import mido
import pytest

import retune
from retune.check import check
from retune.encode import extract_part, per_part
from retune.options import ENCODINGS, Options
from retune.pipeline import _problems_apart, analyze, convert, tune
from retune.score import read_score
from tests.cli.run import HYMN, SAMPLES, process, refused, run

NAMES = ["evening_hymn-01-soprano", "evening_hymn-02-alto", "evening_hymn-03-tenor", "evening_hymn-04-bass"]


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def channels(path: Path) -> set[int]:
    return {
        message.channel
        for track in mido.MidiFile(path).tracks
        for message in track
        if message.type == "note_on"
    }


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_each_file_is_a_conversion_of_its_part(encoding, tmp_path):
    result = run("convert", HYMN, "--per-part", tmp_path / "new" / "parts", "--encoding", encoding)
    assert result.status == 0
    suffix = ".midi2" if encoding == "midi2" else ".mid"
    written = contents(tmp_path / "new" / "parts")
    assert sorted(written) == [name + suffix for name in NAMES]
    assert [line for line in result.text.splitlines() if line.startswith("written: ")] == [
        f"written: {tmp_path / 'new' / 'parts' / name}{suffix}" for name in NAMES
    ]
    score = read_score(Path(HYMN).read_bytes())
    tuning = tune(analyze(score, Options(encoding=encoding)))
    for part, name in zip(score.parts, NAMES, strict=True):
        alone, tuned = extract_part(score, tuning, part)
        assert check(alone, written[name + suffix], intended=tuned).problems == ()
    assert check(score, list(written.values()), intended=tuning).problems == ()


def test_each_file_has_what_belongs_to_the_whole(tmp_path):
    """Tempo, meter, key signature and markers, each at its tick (Standard MIDI Files 1.0, 3.1)."""
    source = SAMPLES / "string_trio.mid"
    run("convert", source, "--per-part", tmp_path)

    def of_the_whole(path: Path) -> list[str]:
        kinds = ("set_tempo", "time_signature", "key_signature", "marker")
        return [str(m) for m in mido.merge_tracks(mido.MidiFile(path).tracks) if m.type in kinds]

    assert len(of_the_whole(source)) > 2
    for path in tmp_path.iterdir():
        assert [line.split(" time=")[0] for line in of_the_whole(path)] == [
            line.split(" time=")[0] for line in of_the_whole(source)
        ]


def test_lines_stay_on_one_channel_and_chords_are_named(tmp_path):
    trio = run("convert", SAMPLES / "string_trio.mid", "--per-part", tmp_path)
    used = {path.stem.removeprefix("string_trio-"): len(channels(path)) for path in tmp_path.iterdir()}
    assert used == {"01-violin": 1, "02-viola": 1, "03-cello": 1, "04-piano": 2}
    assert "Piano: notes in different tunings sound together, so the file has several channels" in trio.err
    assert "Violin" not in trio.err


def test_python_writes_the_same_files(tmp_path):
    run("convert", HYMN, "--per-part", tmp_path / "a", "--encoding", "mpe")
    (tmp_path / "b").mkdir()
    conversion = retune.convert(HYMN, Options(encoding="mpe"), per_part=True)
    places = retune.write(conversion, tmp_path / "b" / "evening_hymn.mid")
    assert [Path(place).stem for place in places] == NAMES
    assert contents(tmp_path / "a") == contents(tmp_path / "b")


def test_names_are_safe_and_never_the_same(tmp_path):
    """Names of parts may hold anything; one file system or another takes none of / \\ : * or a dot at the end."""
    music = mido.MidiFile(type=1)
    names = ["../up", "Horn", "horn", "a/b\\c:*?", "CON", "", "Flöte 1.", "x" * 300]
    for channel, name in enumerate(names):
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=name)])
        track.append(mido.Message("note_on", channel=channel, note=60 + channel))
        track.append(mido.Message("note_off", channel=channel, note=60 + channel, time=480))
        music.tracks.append(track)
    music.save(tmp_path / "odd.mid")
    out = tmp_path / "out"
    assert run("convert", tmp_path / "odd.mid", "--per-part", out).status == 0
    found = sorted(path.name for path in out.iterdir())
    assert len(found) == len(names)
    assert len({name.lower() for name in found}) == len(names)
    assert found[:5] == [
        f"odd-0{n}-{name}.mid" for n, name in enumerate(("up", "horn", "horn", "a-b-c", "con"), 1)
    ]
    assert found[6:] == ["odd-07-flöte-1.mid", f"odd-08-{'x' * 40}.mid"]
    assert {path.name for path in tmp_path.iterdir()} == {"odd.mid", "out"}


def test_standard_input_and_json(tmp_path):
    piped = process("convert", "-", "--per-part", str(tmp_path), "--json", stdin=Path(HYMN).read_bytes())
    assert (piped.status, piped.err) == (0, "")
    report = json.loads(piped.out)
    assert [file["suffix"] for file in report["files"]] == [
        name.removeprefix("evening_hymn") for name in NAMES
    ]
    assert report["check"]["ok"] is True
    assert sorted(contents(tmp_path)) == [f"music{file['suffix']}.mid" for file in report["files"]]


def test_depfile_and_report_tell_of_every_file(tmp_path):
    out, rules, report = tmp_path / "out", tmp_path / "rules.d", tmp_path / "report.json"
    run("convert", HYMN, "--per-part", out, "--depfile", rules, "--report", report)
    first = rules.read_text().splitlines()[0]
    assert first == f"{' '.join(str(out / f'{name}.mid') for name in NAMES)}: {HYMN}"
    assert len(json.loads(report.read_bytes())["files"]) == len(NAMES)


def test_all_files_or_none(tmp_path):
    """A folder stands where the third file would go: the first two are not written, an old one is as it was."""
    (tmp_path / f"{NAMES[2]}.mid").mkdir()
    old = tmp_path / f"{NAMES[0]}.mid"
    old.write_bytes(b"an earlier result")
    result = run("convert", HYMN, "--per-part", tmp_path)
    assert (result.status, result.out) == (2, b"")
    assert f"{NAMES[2]}.mid: this is a folder" in result.err
    assert {path.name for path in tmp_path.iterdir()} == {old.name, f"{NAMES[2]}.mid"}
    assert old.read_bytes() == b"an earlier result"


def test_the_input_is_never_written_over(tmp_path):
    """The result of a first run, given to a second one under the name that this would write."""
    run("convert", HYMN, "--per-part", tmp_path)
    plan = tmp_path / f"{NAMES[1]}.mid"
    plan.write_text('ratios.min = "1 7/6 3/2"\n')
    result = run("convert", HYMN, "--per-part", tmp_path, "--plan", plan)
    assert result.status == 2
    assert "this is the input file itself" in result.err
    assert plan.read_text() == 'ratios.min = "1 7/6 3/2"\n'


def test_a_file_that_is_wrong_alone_is_noticed():
    """Two files changed about are right when played together, and wrong each for itself."""
    analysis = analyze(Path(HYMN).read_bytes())
    tuning = tune(analysis)
    encoded = per_part(analysis.score, tuning, analysis.options)
    assert _problems_apart(analysis, tuning, encoded) == ()
    swapped = replace(encoded, files=(*encoded.files[1::-1], *encoded.files[2:]))
    assert check(analysis.score, swapped, intended=tuning).ok
    assert "the file of Soprano: " in _problems_apart(analysis, tuning, swapped)[0]


def test_the_figures_are_those_of_one_file():
    score = read_score(Path(HYMN).read_bytes())
    assert convert(score, per_part=True).checked.after == convert(score).checked.after


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ([HYMN, "--per-part", "p", "-o", "x.mid"], "--per-part goes without -o"),
        ([HYMN, "--per-part", "p", "--out-dir", "d"], "--out-dir goes without -o, --per-part"),
        ([HYMN, HYMN, "--per-part", "p"], "--per-part takes one INPUT, not 2; run it once for each"),
        ([str(SAMPLES), "--per-part", "p"], "this is a folder; name a file in it"),
        ([HYMN, "--per-part", ""], "--per-part needs the name of a folder"),
        ([HYMN, "--per-part", "-"], "--per-part needs the name of a folder"),
        ([HYMN, "--per-part", HYMN], "this is a file, not a folder; choose another --per-part"),
        ([HYMN, "--per-part", f"{HYMN}/p"], "this folder cannot be made (not a directory)"),
        ([HYMN, "--per-part", "p", "--jobs", "2"], "--jobs, --force and --scheduler go with --out-dir"),
        ([HYMN, "--per-part", "p;q", "--depfile", "d"], "make has no way to write ';' in a name"),
    ],
)
def test_wrong_usage(arguments, message, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    refused(arguments, message, tmp_path)

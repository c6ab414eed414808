"""`retune analyze`: the table, the JSON of the contract, plans, explanations."""

from __future__ import annotations

import json
import math
import re
import shutil
import tomllib

import mido
import pytest

from retune.options import Options
from retune.pipeline import analyze, convert, tune
from tests.cli.run import HYMN, SAMPLES, process, run

WINDOW_NAMES = {
    "start_q", "end_q", "start_s", "end_s", "bar", "beat", "root_pc", "chord", "bass_pc", "label", "ratios",
    "displacement_cents", "roles", "given",
}  # fmt: skip


@pytest.fixture(scope="module")
def hymn():
    return json.loads(run("analyze", HYMN, "--json").out)


def test_json_has_the_promised_names(hymn):
    assert hymn["format"] == 1
    assert hymn["title"] == "Lanterns on the Water"
    assert all(set(window) == WINDOW_NAMES for window in hymn["windows"])
    assert [part["name"] for part in hymn["parts"]] == ["Soprano", "Alto", "Tenor", "Bass"]
    assert [part["channel"] for part in hymn["parts"]] == [1, 2, 3, 4]


def test_json_times_follow_tempo_and_meter(hymn):
    """66 quarters to the minute, four to the bar."""
    for window in hymn["windows"]:
        assert window["start_s"] == pytest.approx(window["start_q"] * 60 / 66, abs=1e-4)
        assert (window["bar"] - 1) * 4 + window["beat"] - 1 == pytest.approx(window["start_q"])
    ends = [window["end_q"] for window in hymn["windows"]]
    assert ends[:-1] == [window["start_q"] for window in hymn["windows"][1:]]
    assert ends[-1] == 72.0


def test_json_finds_the_chords_as_written(hymn):
    """The hymn opens I vi ii V in G (our own score)."""
    first = hymn["windows"][:4]
    assert [(w["root_pc"], w["chord"], w["bass_pc"]) for w in first] == [
        (7, "maj", 7),
        (4, "min", 4),
        (9, "min", 9),
        (2, "maj", 2),
    ]
    assert first[0]["ratios"] == {"0": "1", "4": "5/4", "7": "3/2"}
    assert first[1]["ratios"] == {"0": "1", "3": "6/5", "7": "3/2"}
    assert all(abs(w["displacement_cents"]) <= Options().drift_limit_cents + 1e-3 for w in hymn["windows"])


def test_json_is_what_the_library_says(hymn):
    analysis = analyze((SAMPLES / "evening_hymn.mid").read_bytes(), name=HYMN)
    tuning = tune(analysis)
    assert [w["root_pc"] for w in hymn["windows"]] == analysis.harmony.windows["root_pc"].tolist()
    assert [w["displacement_cents"] for w in hymn["windows"]] == pytest.approx(
        tuning.displacement_cents.tolist(), abs=1e-3
    )
    assert len(hymn["compromises"]) == len(tuning.compromises)


def test_places_are_told_as_the_report_tells_them(hymn):
    report = convert((SAMPLES / "evening_hymn.mid").read_bytes(), name=HYMN).report
    assert report["compromises"] == hymn["compromises"] != []
    assert report["shifts"] == hymn["shifts"]
    place = hymn["compromises"][0]
    assert place["where"] == f"bar {place['bar']}, beat {place['beat']:g}"
    assert place["notes"]
    assert all(isinstance(note, int) for note in place["notes"])


def test_options_reach_the_stages():
    free = json.loads(run("analyze", HYMN, "--json", "--drift-limit", "0").out)
    assert all(window["displacement_cents"] == 0 for window in free["windows"])
    sevenths = json.loads(
        run("analyze", SAMPLES / "close_harmony_tag.mid", "--json", "--prime-limit", "7").out
    )
    assert any(window["ratios"].get("10") == "7/4" for window in sevenths["windows"])
    sharp = json.loads(run("analyze", HYMN, "--json", "--preset", "still-lines", "--hold-limit", "2").out)
    assert len(sharp["windows"]) > 20


def test_table_shows_bar_beat_chord_and_ratios():
    result = run("analyze", HYMN)
    lines = result.text.splitlines()
    assert lines[0].split() == [
        "bar", "beat", "chord", "ratios", "above", "the", "root", "displacement", "non-chord", "tones",
    ]  # fmt: skip
    assert lines[1].split()[:6] == ["1", "1", "G", "1", "5/4", "3/2"]
    assert any(line.split()[:3] == ["9", "1", "B7/D♯"] for line in lines), (
        "the third of B is D♯ in G major too"
    )
    assert "\nPurity gave way in 10 places:\n" in result.text
    assert "\nA line gave way in " in result.text
    assert result.err == ""


def test_many_places_are_counted_and_the_largest_told():
    text = run("analyze", HYMN, "--drift-limit", "5").text
    (line,) = [line for line in text.splitlines() if line.startswith("Purity gave way")]
    assert re.fullmatch(r"Purity gave way in \d\d places; the 10 largest:", line)
    told = text.partition(line + "\n")[2].partition("\nA line")[0]
    assert len(re.findall(r"^bar ", told, re.MULTILINE)) == 10


def test_music_that_is_pure_throughout_is_said_to_be_so_within_what_is_told():
    """2 cents: `WORTH_TELLING_CENTS` and docs/tuning.md."""
    result = run("analyze", SAMPLES / "string_trio.mid")
    assert (
        "\nPurity gave way nowhere: every consonant interval is within 2 cents of its ratio.\n" in result.text
    )


def test_reads_standard_input():
    with open(HYMN, "rb") as file:
        piped = process("analyze", "-", "--json", stdin=file.read())
    assert (piped.status, piped.err) == (0, "")
    assert json.loads(piped.out)["windows"]


def test_quiet_prints_nothing():
    result = run("analyze", HYMN, "--quiet")
    assert (result.status, result.out, result.err) == (0, b"", "")


def test_plan_is_written_and_obeyed(tmp_path):
    """Analyze, edit one chord, analyze again: that chord is the edited one, and no other changed."""
    path = tmp_path / "hymn.toml"
    before = json.loads(run("analyze", HYMN, "--plan", path, "--json").out)["windows"]
    same = json.loads(run("analyze", HYMN, "--obey-plan", path, "--json").out)["windows"]
    fields = ("start_q", "end_q", "root_pc", "chord", "bass_pc", "ratios", "displacement_cents")
    assert [[w[f] for f in fields] for w in same] == [[w[f] for f in fields] for w in before]

    text = path.read_text(encoding="utf-8")
    (row,) = (line for line in text.splitlines() if line.startswith('  {at = "4.3"'))
    edited = '  {at = "4.3", to = "5.1", root = "F#", chord = "dim", bass = "D", ratios = "5:6:7"},'
    path.write_text(text.replace(row, edited), encoding="utf-8")
    after = json.loads(run("analyze", HYMN, "--obey-plan", path, "--json").out)["windows"]
    harmony = ("start_q", "end_q", "root_pc", "chord", "bass_pc", "ratios")
    different = [
        i for i, (a, b) in enumerate(zip(before, after, strict=True)) if any(a[f] != b[f] for f in harmony)
    ]
    assert [(after[i]["bar"], after[i]["beat"]) for i in different] == [(4, 3.0)]
    assert after[different[0]]["root_pc"] == 6
    assert after[different[0]]["ratios"] == {"0": "1", "3": "6/5", "6": "7/5"}


def test_a_plan_on_standard_output_is_alone_there():
    """With --json the plan came out, the JSON did not, and nobody was told."""
    alone = run("analyze", HYMN, "--plan", "-")
    assert tomllib.loads(alone.text)["windows"]
    both = run("analyze", HYMN, "--plan", "-", "--json")
    assert (both.status, both.out, both.err.count("\n")) == (2, b"", 1)
    assert "--json and --plan - both want standard output; name a file for one of them" in both.err


def test_a_plan_names_the_options_it_was_made_with(tmp_path):
    path = tmp_path / "plan.toml"
    run("analyze", HYMN, "--plan", path, "--prime-limit", "7", "--drift-limit", "none", "--quiet")
    (line,) = (line for line in path.read_text(encoding="utf-8").splitlines() if "retune convert" in line)
    assert line.endswith("--plan THIS-FILE --prime-limit 7 --drift-limit none")


def test_plan_is_not_overwritten_unless_told(tmp_path):
    path = tmp_path / "hymn.toml"
    path.write_text("my own work")
    refused = run("analyze", HYMN, "--plan", path)
    assert (refused.status, refused.out) == (2, b"")
    assert "the file exists; choose another name, or replace it with --overwrite" in refused.err
    assert path.read_text() == "my own work"
    assert run("analyze", HYMN, "--plan", path, "--overwrite", "--quiet").status == 0
    assert path.read_text(encoding="utf-8").startswith("# Plan for evening_hymn.mid\n")


def test_plan_does_not_replace_the_music(tmp_path):
    music = tmp_path / "hymn.mid"
    shutil.copy(HYMN, music)
    result = run("analyze", music, "--plan", music, "--overwrite")
    assert result.status == 2
    assert "this is the input file itself" in result.err
    with open(HYMN, "rb") as file:
        assert music.read_bytes() == file.read()


def test_plan_errors_name_line_and_field(tmp_path):
    path = tmp_path / "song.toml"
    path.write_text('windows = [\n  {at = "2.1", root = "C", chord = "mjor"},\n]\n')
    result = run("analyze", HYMN, "--obey-plan", path)
    assert result.status == 2
    assert (
        result.err == f"retune: {path}, line 2, windows 1, chord: no such chord type 'mjor'; nearest: maj\n"
    )
    path.write_bytes(b"fixed = ['\xff']")
    assert "line 1: not UTF-8 text" in run("analyze", HYMN, "--obey-plan", path).err


def test_names_from_the_file_cannot_steer_the_terminal(tmp_path):
    """A track name may hold escape sequences; they are shown, not obeyed."""
    file = mido.MidiFile(HYMN)
    file.tracks[1].name = "Sop\x1b[31m\x07rano"
    path = tmp_path / "a\x1b[2Jb.mid"
    file.save(path)
    plan = tmp_path / "plan.toml"
    shown = run("analyze", path, "--plan", plan)
    assert "\x1b" not in shown.text + shown.err + plan.read_text(encoding="utf-8")
    path.write_bytes(b"")
    assert "\x1b" not in run("analyze", path).err


def test_json_numbers_are_finite(hymn):
    def numbers(value):
        if isinstance(value, dict):
            value = list(value.values())
        if isinstance(value, list):
            return [n for item in value for n in numbers(item)]
        return [value] if isinstance(value, float) else []

    assert all(math.isfinite(number) for number in numbers(hymn))


def test_explanation_names_what_sounded_and_the_rivals():
    result = run("analyze", HYMN, "--explain", "2")
    first, second = result.text.split("bar 2, beat 3, to bar 3, beat 1: ")
    assert first.startswith("bar 2, beat 1, to bar 2, beat 3: Amin\n")
    assert second.startswith("D\n")
    (sounding,) = (line for line in first.splitlines() if line.startswith("bar 2, beat 1 "))
    assert {"A", "C", "E"} <= set(sounding.split())
    candidates = first.partition("candidate")[2].splitlines()[1:]
    assert candidates[0].startswith("Amin ")
    assert len(candidates) >= 3


def test_explanation_names_the_notes_outside_the_chord_and_what_they_do():
    """The 4-3 suspension that the alto of the hymn has in bar 4, as the score of the sample says."""
    result = run("analyze", HYMN, "--explain", "4")
    assert "outside the chord: G of Alto, bar 4, beat 3 (suspension)" in result.text.splitlines()
    assert result.text.count("outside the chord") == 1
    assert result.text.count("Points say how well a chord fits its window") == 1


def test_explanation_of_a_bar_that_is_not_there():
    result = run("analyze", HYMN, "--explain", "99")
    assert (result.status, result.out) == (2, b"")
    assert result.err == "retune: bar 99 has no harmony to explain; the music ends in bar 18\n"

"""`retune preview` as a user runs it."""

from __future__ import annotations

import io
import wave
from pathlib import Path

import numpy as np
import pytest

from retune.listen import Wishes, preview, sound_file
from retune.listen.audio import read_wave
from retune.pipeline import analyze, tune
from tests.cli.run import HYMN, run


def test_the_command_writes_what_the_library_call_gives(tmp_path: Path) -> None:
    out = tmp_path / "hymn.wav"
    done = run("preview", HYMN, "-o", out, "--bars", "3-4", "--sound", "voice", "--times", 2, "--speed", 1.5)
    assert (done.status, done.err) == (0, "")
    assert done.text.splitlines() == [
        "0:00.0 - 0:04.8  retuned, bars 3-4",
        "0:04.8 - 0:09.7  retuned, bars 3-4",
        f"written: {out}",
    ]
    analysis = analyze(Path(HYMN).read_bytes())
    wishes = Wishes(first_bar=3, last_bar=4, sound="voice", times=2, speed=1.5)
    expected = preview(analysis.score, analysis.harmony, tune(analysis), wishes)
    assert out.read_bytes() == sound_file(expected.samples, rate=44100)


def test_before_and_after_with_a_list_of_what_is_heard_when(tmp_path: Path) -> None:
    done = run("preview", HYMN, "-o", tmp_path / "ab.flac", "--hear", "ab", "--bars", "1-8")
    *lines, last = done.text.splitlines()
    assert last == f"written: {tmp_path / 'ab.flac'}"
    assert [line.split("  ")[1].split(",")[0] for line in lines] == ["original", "retuned"] * (
        len(lines) // 2
    )
    assert (tmp_path / "ab.flac").read_bytes()[:4] == b"fLaC"


def test_standard_output_gets_nothing_but_sound() -> None:
    done = run("preview", HYMN, "-o", "-", "--bars", "2", "--bits", "24", "--sample-rate", "48000")
    with wave.open(io.BytesIO(done.out)) as file:
        assert (file.getsampwidth(), file.getframerate()) == (3, 48000)


def test_peak_is_obeyed_and_a_loud_one_is_warned_of(tmp_path: Path) -> None:
    done = run("preview", HYMN, "-o", tmp_path / "loud.wav", "--bars", "1", "--peak", "-3")
    assert "peak -3 dB is loud for steady tones; turn the volume down before you listen" in done.err
    samples, _ = read_wave((tmp_path / "loud.wav").read_bytes())
    assert 20 * np.log10(np.abs(samples).max()) == pytest.approx(-3.0, abs=0.01)


def test_a_page_is_written_for_html(tmp_path: Path) -> None:
    assert run("preview", HYMN, "-o", tmp_path / "page.html").status == 0
    assert "Lanterns on the Water" in (tmp_path / "page.html").read_text("utf-8")


def test_a_plan_is_obeyed(tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    assert run("analyze", HYMN, "--plan", plan).status == 0
    done = run("preview", HYMN, "-o", tmp_path / "a.wav", "--plan", plan, "--bars", "1")
    assert (done.status, done.err) == (0, "")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["-o", "a.mp3"], "retune: a.mp3: the ending says what to write; use one of .wav, .flac, .html"),
        (
            ["-o", "a.wav", "--hear", "orignal"],
            "'orignal' is not one of retuned, original, ab; nearest: original",
        ),
        (["-o", "a.wav", "--bars", "eight"], "'eight' is neither a bar such as 5 nor a range such as 5-8"),
        (["-o", "a.wav", "--bars", "40"], "bar 40: no notes there; the music has bars 1 to 18"),
        (
            ["-o", "a.wav", "--part", "Sopran0"],
            "part 'Sopran0': no such part; nearest: Soprano; the parts are",
        ),
        (["-o", "a.wav", "--with", "drone"], "with drone: say which part it goes with (--part)"),
        (
            ["-o", "a.html", "--times", "2"],
            "a page holds the whole piece and its own sound",
        ),
        (["-o", "a.wav", "--soundfont", "none.sf2"], "none.sf2: no such file"),
        (["-o", "a.wav", "--soundfont", HYMN], "soundfont: the file is no SoundFont"),
        (
            ["-o", "a.wav", "--sound", "pure", "--soundfont", HYMN],
            "sound pure is made without a SoundFont: leave out --soundfont",
        ),
        (["-o", "a.wav", "--peak", "3"], "peak: 3 dB is outside -60 to -1"),
        (["-o", "no/such/folder/a.wav", "--bars", "1"], "no/such/folder/a.wav"),
    ],
)
def test_bad_wishes_are_one_line_and_nothing_is_written(
    arguments: list[str], message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run("preview", HYMN, *arguments)
    assert done.status == 2
    assert message in done.err
    assert done.err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_the_input_is_not_written_over(tmp_path: Path) -> None:
    copy = tmp_path / "hymn.wav"  # a MIDI file under a misleading name
    copy.write_bytes(Path(HYMN).read_bytes())
    assert run("preview", copy, "-o", copy).status == 2
    assert copy.read_bytes() == Path(HYMN).read_bytes()

"""The music through a SoundFont, measured in the audio."""

from __future__ import annotations

import io
import shutil
from dataclasses import replace

import mido
import numpy as np
import pytest

from retune.errors import OptionError
from retune.listen import Wishes, preview
from retune.listen.heard import heard
from retune.listen.soundfont import STEADY_PROGRAM, TICKS_PER_SECOND, bundled_soundfont, midi_files_of
from retune.score import Score, read_score
from tests.listen.measure import cents, decibels, measured_hz
from tests.tuning.build import hints, score_of, tuned

CHORD = [(0, 0.0, 4.0, 60), (1, 4.0, 4.0, 64), (2, 8.0, 4.0, 67)]  # broken, so that no partial covers another
NEAR_HZ = (261.6, 327.0, 392.4)
NOTE_S = 2.0
PLAYERS = [
    pytest.param("midirenderer", id="midirenderer"),
    pytest.param(
        "fluidsynth",
        id="fluidsynth",
        marks=pytest.mark.skipif(shutil.which("fluidsynth") is None, reason="fluidsynth is not installed"),
    ),
]


def major_chord() -> tuple:
    score = score_of(CHORD, programs={0: 52, 1: 48, 2: 73})
    harmony, _, tuning, _ = tuned(score, hints([(0, "maj")], 12.0))
    return score, harmony, tuning


def hz_of_notes(hear: str, player: str) -> list[float]:
    """Fundamental of each of the three notes."""
    sounding = preview(*major_chord(), Wishes(sound="soundfont", player=player, hear=hear))
    edges_s = [(NOTE_S * i + 0.3, NOTE_S * (i + 1) - 0.1) for i in range(3)]
    parts = [sounding.samples[int(a * sounding.rate) : int(b * sounding.rate)] for a, b in edges_s]
    return [measured_hz(part, near, sounding.rate) for part, near in zip(parts, NEAR_HZ, strict=True)]


@pytest.mark.parametrize("player", PLAYERS)
def test_a_major_chord_is_pure_within_a_cent_and_was_tempered_before(player: str) -> None:
    """4:5:6 is 386.314 and 701.955 cents (Helmholtz/Ellis, App. XX).

    One cent is what the players can do: FluidSynth's source turns pitch into whole cents.
    """
    pytest.importorskip("midirenderer")
    root, third, fifth = hz_of_notes("retuned", player)
    assert cents(third, root) == pytest.approx(386.314, abs=1.0)
    assert cents(fifth, root) == pytest.approx(701.955, abs=1.0)
    root, third, fifth = hz_of_notes("original", player)
    assert cents(third, root) == pytest.approx(400.0, abs=1.0)
    assert cents(fifth, root) == pytest.approx(700.0, abs=1.0)


def test_peak_and_length() -> None:
    pytest.importorskip("midirenderer")
    sounding = preview(*major_chord(), Wishes(sound="soundfont", first_bar=1, times=2, rate=48000))
    assert len(sounding.samples) == 2 * 2 * 48000
    assert decibels(np.abs(sounding.samples).max()) == pytest.approx(-12.0, abs=0.001)


@pytest.mark.parametrize(("own", "programs"), [(False, {STEADY_PROGRAM}), (True, {52, 48, 73})])
def test_programs_are_steady_unless_the_original_ones_are_wanted(own: bool, programs: set[int]) -> None:
    score, _, tuning = major_chord()
    (data,) = midi_files_of(score, heard(score, tuning.offsets), own_programs=own)
    file = mido.MidiFile(file=io.BytesIO(data))
    found = {m.program for track in file.tracks for m in track if m.type == "program_change"}
    assert programs <= found
    assert own or found == programs


MANY = 17  # parts: two more than there are channels without that of the drums


def many_parts() -> Score:
    """One note after another, a second each, every part with a program and a key of its own, on two ports."""
    file = mido.MidiFile(type=1, ticks_per_beat=480)
    for part in range(MANY):
        channel = part % 15 + (part % 15 > 8)
        file.tracks.append(
            mido.MidiTrack(
                [
                    mido.MetaMessage("track_name", name=f"Part {part + 1}"),
                    mido.MetaMessage("midi_port", port=part // 15),
                    mido.Message("program_change", channel=channel, program=40 + part),
                    mido.Message("note_on", channel=channel, note=50 + part, time=960 * part),
                    mido.Message("note_off", channel=channel, note=50 + part, time=900),
                ]
            )
        )
    data = io.BytesIO()
    file.save(file=data)
    return read_score(data.getvalue())


def test_more_parts_than_channels_keep_their_programs_and_pitches() -> None:
    """Read as a synthesizer reads: the program last chosen on the channel of each note."""
    score = many_parts()
    _, _, tuning, _ = tuned(score)
    heard_as = {}
    for data in midi_files_of(score, heard(score, tuning.offsets), own_programs=True):
        program: dict[int, int] = {}
        for message in mido.MidiFile(file=io.BytesIO(data)):
            if message.type == "program_change":
                program[message.channel] = message.program
            elif message.type == "note_on" and message.velocity:
                heard_as[message.note] = program[message.channel]
    assert heard_as == {50 + part: 40 + part for part in range(MANY)}


@pytest.mark.parametrize("player", PLAYERS)
def test_each_of_many_parts_sounds_as_it_does_alone(player: str) -> None:
    pytest.importorskip("midirenderer")
    wishes = Wishes(sound="original", player=player, hear="original")
    score = many_parts()
    harmony, _, tuning, _ = tuned(score)
    together = preview(score, harmony, tuning, wishes).samples
    for part in (0, 1, 15, 16):  # the first two shared their channels with the last two
        alone = preview(score, harmony, tuning, replace(wishes, parts=(score.parts[part].name,))).samples
        here = slice(part * wishes.rate, int((part + 0.9) * wishes.rate))
        likeness = np.corrcoef(together[here], alone[here])[0, 1]
        assert likeness > 0.99, part


def test_the_file_that_is_played_decodes_to_the_offsets_that_were_solved() -> None:
    """Many overlapping and repeated notes in several parts: none may get another's offset."""
    from retune.check import decode

    rng = np.random.default_rng(4)
    notes = [
        (part, float(q) / 2, float(rng.integers(1, 6)) / 2, int(rng.integers(40, 80)))
        for part in range(4)
        for q in range(0, 60, 2)
    ]
    score = score_of(notes)
    _, _, tuning, _ = tuned(score)
    rows = heard(score, tuning.offsets)
    (data,) = midi_files_of(score, rows, own_programs=False)
    sounding = decode(data)
    first = np.flatnonzero(np.diff(rows["tone"], prepend=-1) != 0)
    wanted = sorted(zip(rows["start_s"][first], rows["key"][first], rows["offset_cents"][first], strict=True))
    begin = sounding.curve[np.flatnonzero(np.diff(sounding.curve["note"], prepend=-1) != 0)]
    onset_s = sounding.notes["onset_tick"][begin["note"]] / TICKS_PER_SECOND
    played = sorted(zip(onset_s, sounding.notes["key"][begin["note"]], begin["cents"], strict=True))
    assert len(wanted) == len(played) == len(notes)
    np.testing.assert_allclose(played, wanted, atol=0.02)  # cents: a bend step is 0.024; seconds: far less


def test_a_file_that_is_no_soundfont_is_said_to_be_none() -> None:
    """A SoundFont is a RIFF file of the form sfbk (SoundFont technical specification 2.04; from memory)."""
    for data in (b"no font", b"RIFF\x04\0\0\0WAVE", b"MThd\0\0\0\x06sfbk"):
        with pytest.raises(OptionError, match=r"the file is no SoundFont .*; use an SF2 file"):
            Wishes(sound="soundfont", soundfont=data)


@pytest.mark.parametrize("player", PLAYERS)
def test_a_soundfont_that_breaks_off_is_said_to_be_unplayable(player: str) -> None:
    pytest.importorskip("midirenderer")
    broken = bundled_soundfont()[:5000]
    with pytest.raises(OptionError, match=r"the SoundFont cannot be played: .*; use an SF2 file"):
        preview(*major_chord(), Wishes(sound="soundfont", player=player, soundfont=broken))


@pytest.mark.parametrize("sound", ["organ", "voice", "pure"])
def test_a_soundfont_and_a_sound_made_without_one_contradict_each_other(sound: str) -> None:
    with pytest.raises(OptionError, match=f"sound {sound} is made without a SoundFont"):
        Wishes(sound=sound, soundfont=b"RIFF\x04\0\0\0sfbk")


def test_a_player_that_is_not_there_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    with pytest.raises(OptionError, match="a SoundFont needs fluidsynth, which is not installed"):
        preview(*major_chord(), Wishes(sound="soundfont", player="fluidsynth"))

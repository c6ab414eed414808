"""The music through a SoundFont: midirenderer (extra `audio`) or the FluidSynth program.

The tones are written to a MIDI file of their own with the project's usual encoding, so what is heard has gone
the way of a written file. FluidSynth rounds every bend to a whole cent, so it cannot show less than that.
"""

from __future__ import annotations

import math
import shutil
import subprocess
import tempfile
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import mido
import numpy as np
from numpy.typing import NDArray

from retune.arrays import begins
from retune.encode import encode
from retune.errors import OptionError, RetuneError
from retune.listen.audio import read_wave
from retune.listen.heard import DRONE_PART, Rows
from retune.options import Options
from retune.score import Track, read_score, write_tracks
from retune.tuning.model import OFFSET_DTYPE, Tuning

if TYPE_CHECKING:
    from retune.listen.wishes import Wishes
    from retune.score.model import Score

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

STEADY_PROGRAM = 16  # General MIDI 1: drawbar organ; steadiest of the presets measured (docs/listening.md)
DIVISION = 9600  # ticks per quarter of the file that is rendered
TICKS_PER_SECOND = 2 * DIVISION  # no tempo event: 120 quarters to the minute
_CHANNELS = tuple(channel for channel in range(16) if channel != 9)
_FLUIDSYNTH = "fluidsynth -n -i -q -R 0 -C 0 -O s16 -T wav -F out.wav font.sf2 music.mid"  # no reverb, chorus
_FLUIDSYNTH_LIMIT_S = 600
_NOT_LOADED = b"Failed to load"


def render_with_soundfont(score: Score, rows: Rows, wishes: Wishes, length_s: float) -> FloatArray:
    """Return samples (mono, not yet levelled) of the rows, `length_s` long.

    Raises `OptionError` when there is no SoundFont or nothing to play it with.
    """
    font = bundled_soundfont() if wishes.soundfont is None else wishes.soundfont
    play = _PLAYERS[_player(wishes.player)]
    out = np.zeros(math.ceil(length_s * wishes.rate))
    for midi in midi_files_of(score, rows, own_programs=wishes.sound == "original"):
        samples, rate = read_wave(play(font, midi))
        if rate != wishes.rate:
            samples = _resampled(samples, rate, wishes.rate)
        count = min(len(out), len(samples))
        out[:count] += samples[:count]
    return out


@cache
def bundled_soundfont() -> bytes:
    """Return the SoundFont that comes with pretty_midi."""
    try:
        import pretty_midi
    except ImportError as error:
        raise OptionError("no SoundFont: name one (--soundfont) or pip install 'retune[audio]'") from error
    return (Path(pretty_midi.__file__).parent / "TimGM6mb.sf2").read_bytes()


def midi_files_of(score: Score, rows: Rows, *, own_programs: bool) -> list[bytes]:
    """Return MIDI files that together sound as the rows say, every part on a steady organ unless `own_programs`.

    Each holds as many parts as there are channels, because the players know of no second port.
    """
    parts = np.unique(rows["part"])
    groups = [parts[at : at + len(_CHANNELS)] for at in range(0, len(parts), len(_CHANNELS))]
    return [_midi_of(score, rows[np.isin(rows["part"], group)], own_programs) for group in groups]


def _midi_of(score: Score, rows: Rows, own_programs: bool) -> bytes:
    """Return a MIDI file that sounds as the rows say, of no more parts than there are channels."""
    first = np.flatnonzero(begins(rows["tone"]))
    last = np.append(first[1:], len(rows)) - 1
    tones = rows[first]
    onset = _ticks(tones["start_s"])
    release = np.maximum(_ticks(rows["end_s"][last]), onset + 1)
    order = np.lexsort((onset, tones["part"]))
    tracks = []
    for channel, part in zip(_CHANNELS, np.unique(tones["part"]), strict=False):
        mine = order[tones["part"][order] == part]
        own = own_programs and part != DRONE_PART
        program = score.parts[part].program if own else STEADY_PROGRAM
        tracks.append(_track(tones[mine], onset[mine], release[mine], program, channel))
    played = read_score(write_tracks(format=1, division=DIVISION, tracks=tracks), name="preview")
    # notes of a track come back in the order of their note-ons: that is how tones and notes are matched
    back = np.lexsort((played.notes["on_event"], played.notes["track"]))
    note_of_tone = np.empty(len(tones), np.int64)
    note_of_tone[order] = back
    tuning = Tuning(offsets=_offsets(rows, first, note_of_tone, played), displacement_cents=np.zeros(0))
    return encode(played, tuning, Options()).files[0].data


def _track(tones: Rows, onset: IntArray, release: IntArray, program: int, channel: int) -> Track:
    events = [(0, 0, mido.Message("program_change", channel=channel, program=program))]
    velocities = np.clip(np.rint(tones["velocity"] * tones["gain"]), 1, 127).astype(int)
    for key, velocity, start, end in zip(tones["key"], velocities, onset, release, strict=True):
        on = mido.Message("note_on", channel=channel, note=int(key), velocity=int(velocity))
        off = mido.Message("note_off", channel=channel, note=int(key), velocity=64)
        events += [(int(start), 2, on), (int(end), 1, off)]
    events.sort(key=lambda event: event[:2])
    ticks = np.array([tick for tick, _, _ in events], dtype=np.int64)
    messages = [message for _, _, message in events]
    return Track(name="", ticks=ticks, messages=messages, end_tick=int(ticks[-1]))


def _offsets(rows: Rows, first: IntArray, note_of_tone: IntArray, played: Score) -> NDArray[np.void]:
    """Return the rows as offsets of the notes of the file that is played."""
    offsets = np.zeros(len(rows), OFFSET_DTYPE)
    offsets["note"] = note_of_tone[np.cumsum(np.isin(np.arange(len(rows)), first)) - 1]
    offsets["start_tick"] = _ticks(rows["start_s"])
    offsets["offset_cents"] = rows["offset_cents"]
    offsets = offsets[np.lexsort((np.arange(len(rows)), offsets["note"]))]
    new = begins(offsets["note"])
    offsets["start_tick"][new] = played.notes["onset_tick"][offsets["note"][new]]
    ends = played.notes["sounding_end_tick"][offsets["note"]]
    inside = ~new & (offsets["start_tick"] >= ends)
    offsets, new, ends = offsets[~inside], new[~inside], ends[~inside]
    offsets["end_tick"] = np.where(np.append(new[1:], True), ends, np.append(offsets["start_tick"][1:], 0))
    result: NDArray[np.void] = offsets
    return result


def _ticks(seconds: FloatArray) -> IntArray:
    return np.rint(seconds * TICKS_PER_SECOND).astype(np.int64)


def _player(wanted: str) -> str:
    """Return the player to use: the one wanted, or for "auto" the first that is there."""
    found = {"midirenderer": _has_midirenderer(), "fluidsynth": _has_fluidsynth()}
    there = [name for name in found if found[name]]
    if wanted in there:
        return wanted
    if wanted == "auto" and there:
        return there[0]
    needed = "midirenderer or fluidsynth" if wanted == "auto" else wanted
    remedy = "pip install 'retune[audio]', or choose --sound organ"
    raise OptionError(f"a SoundFont needs {needed}, which is not installed: {remedy}")


def _has_midirenderer() -> bool:
    import importlib.util

    return importlib.util.find_spec("midirenderer") is not None


def _has_fluidsynth() -> bool:
    return shutil.which("fluidsynth") is not None


def _by_midirenderer(font: bytes, midi: bytes) -> bytes:
    import midirenderer

    try:
        return bytes(midirenderer.render_wave_from(font, midi))
    except RuntimeError as error:
        raise OptionError(f"the SoundFont cannot be played: {error}; use an SF2 file") from error


def _by_fluidsynth(font: bytes, midi: bytes) -> bytes:
    with tempfile.TemporaryDirectory(prefix="retune-") as name:
        folder = Path(name)
        (folder / "font.sf2").write_bytes(font)
        (folder / "music.mid").write_bytes(midi)
        command = _FLUIDSYNTH.split()
        try:
            done = subprocess.run(
                command, cwd=folder, check=True, capture_output=True, timeout=_FLUIDSYNTH_LIMIT_S
            )
            if _NOT_LOADED in done.stderr:  # it goes on without the SoundFont, in silence
                raise OptionError(
                    "the SoundFont cannot be played: fluidsynth cannot load it; use an SF2 file"
                )
            return (folder / "out.wav").read_bytes()
        except (OSError, subprocess.SubprocessError) as error:
            raise RetuneError(f"fluidsynth could not render the sound: {error}") from error


_PLAYERS = {"midirenderer": _by_midirenderer, "fluidsynth": _by_fluidsynth}


def _resampled(samples: FloatArray, rate: int, wanted: int) -> FloatArray:
    from scipy.signal import resample_poly

    common = math.gcd(rate, wanted)
    result: FloatArray = resample_poly(samples, wanted // common, rate // common)
    return result

"""Real synthesizers that turn a MIDI file into sound.

`midirenderer` comes with the test extra; FluidSynth and TiMidity++ are Debian packages (`apt-get install fluidsynth
timidity`), left out where they are missing. The sound font is the one pretty_midi carries.
"""

from __future__ import annotations

import io
import re
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import mido
import numpy as np
import pretty_midi
import soundfile

from tests.synths.measure import Sound, cents_near

FONT = Path(pretty_midi.__file__).parent / "TimGM6mb.sf2"
STEADY_PROGRAM = 16  # drawbar organ: wobbles by 0.04 cents at most over two seconds


def render_midirenderer(data: bytes) -> tuple[Sound, float]:
    """Sound of a file by midirenderer."""
    import midirenderer

    return _mono(bytes(midirenderer.render_wave_from(_font(), data)))


def render_fluidsynth(data: bytes) -> tuple[Sound, float]:
    """Sound of a file by FluidSynth, without reverb and chorus."""
    options = ["-niq", "-R", "0", "-C", "0", "-g", "0.4", "-r", "22050", "-T", "wav"]
    return _run(data, lambda midi, wav, _: ["fluidsynth", *options, "-F", wav, str(FONT), midi])


def render_timidity(data: bytes) -> tuple[Sound, float]:
    """Sound of a file by TiMidity++, without effects and without its cache of resampled notes."""

    def command(midi: str, wav: str, folder: Path) -> list[str]:
        programs = "".join(
            f'{n} %font "{FONT}" 0 {n}\n' for n in range(128)
        )  # every one, or the system's sound
        (folder / "font.cfg").write_text(f"bank 0\n{programs}")
        effects = ["-EFreverb=d", "-EFchorus=d", "-EFdelay=d", "-EFvlpf=d", "-EFns=0"]
        set_up = ["-c", str(folder / "font.cfg"), "-Ow", "-S", "0", "-s", "44100", "-A", "60"]
        return ["timidity", *set_up, *effects, "--preserve-silence", "-o", wav, midi]

    return _run(data, command)


def _run(data: bytes, command: Callable[[str, str, Path], list[str]]) -> tuple[Sound, float]:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "in.mid").write_bytes(data)
        line = command(str(folder / "in.mid"), str(folder / "out.wav"), folder)
        subprocess.run(line, check=True, capture_output=True, timeout=120)
        return _mono((folder / "out.wav").read_bytes())


def _mono(wav: bytes) -> tuple[Sound, float]:
    sound, rate = soundfile.read(io.BytesIO(wav), always_2d=True)
    return sound.mean(axis=1), float(rate)


@cache
def _font() -> bytes:
    return FONT.read_bytes()


@dataclass(frozen=True)
class Receiver:
    """A synthesizer and what it can be held to."""

    name: str
    render: Callable[[bytes], tuple[Sound, float]]
    program: str  # what must be installed; "" if it comes with the test extra
    tolerance_cents: float  # of an interval; its own pitch step, see docs/receivers.md

    @property
    def missing(self) -> bool:
        """Whether it is not installed."""
        return bool(self.program) and shutil.which(self.program) is None

    @property
    def version(self) -> str:
        """Version as it says itself, or as its package does."""
        if not self.program:
            from importlib.metadata import version

            return version(self.name)
        line = subprocess.run([self.program, "--version"], capture_output=True, text=True, check=False)
        found = re.search(r"\d+\.\d+(\.\d+)?", line.stdout + line.stderr)
        return found.group() if found else "?"


RECEIVERS = (
    Receiver("midirenderer", render_midirenderer, "", 0.1),
    Receiver("FluidSynth", render_fluidsynth, "fluidsynth", 1.3),  # whole cents, cut down; bend times 127/128
    Receiver("TiMidity++", render_timidity, "timidity", 2.1),  # steps of 0.39, of 1.7 for low notes, cut down
)


def solo(data: bytes, channel: int, program: int = STEADY_PROGRAM) -> bytes:
    """The file with the notes of one channel only, all on a steady preset; nothing else moves."""
    file = mido.MidiFile(file=io.BytesIO(data))
    for track in file.tracks:
        waited, kept = 0, mido.MidiTrack()
        for message in track:
            is_note = message.type in ("note_on", "note_off")
            if (is_note and message.channel != channel) or message.type == "program_change":
                waited += message.time
                continue
            kept.append(message.copy(time=message.time + waited))
            waited = 0
        track[:] = kept
    set_up = [mido.Message("program_change", channel=c, program=program) for c in range(16) if c != 9]
    at = 1 if file.tracks[0] and file.tracks[0][0].type == "track_name" else 0
    file.tracks[0][at:at] = set_up
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


@cache
def plain_offset(receiver: Receiver, key: int, seconds: float) -> float:
    """Cents at which a receiver sounds a key of the steady preset when nothing retunes it."""
    track = [
        mido.Message("program_change", program=STEADY_PROGRAM),
        mido.Message("note_on", note=key, velocity=80),
        mido.Message("note_off", note=key, time=round(1000 * seconds)),
    ]
    file = mido.MidiFile(ticks_per_beat=500)  # 1000 ticks a second at 120 to the minute
    file.tracks.append(mido.MidiTrack(track))
    out = io.BytesIO()
    file.save(file=out)
    sound, rate = receiver.render(out.getvalue())
    return cents_near(_inside(sound, rate, 0.0, seconds), rate, key)


def hear(
    receiver: Receiver, data: bytes, notes: list[tuple[float, float, int, int]], reach_cents: float = 90.0
) -> list[float]:
    """Cents heard for each (start s, end s, channel, key), less what the preset itself is off.

    Each channel is rendered alone: in a pure chord the overtones of different notes fall together.
    """
    sounds = {channel: receiver.render(solo(data, channel)) for channel in {note[2] for note in notes}}
    return [
        cents_near(_inside(*sounds[channel], start, end), sounds[channel][1], key, reach_cents)
        - plain_offset(receiver, key, round(end - start, 3))
        for start, end, channel, key in notes
    ]


def _inside(sound: Sound, rate: float, start: float, end: float) -> Sound:
    """The steady middle: attacks and releases left out."""
    margin = min(0.15, (end - start) / 5)
    found = sound[int((start + margin) * rate) : int((end - margin) * rate)]
    if not np.abs(found).max(initial=0.0) > 1e-4:
        raise ValueError(f"silence from {start} to {end} s")
    return found

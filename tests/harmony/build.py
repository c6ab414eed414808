"""Small scores for the harmony tests, written to bytes and read back, and what was heard in them."""

from __future__ import annotations

import io
from collections.abc import Sequence

import mido

from retune.harmony import Harmony, Hint, find_harmony
from retune.harmony.vocabulary import CHORD_TYPES
from retune.score import Score, read_score

TPQ = 480
NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
Note = tuple[float, float, int]  # start and length in quarters, key


def score_of(
    *voices: Sequence[Note],
    channels: Sequence[int] = (),
    pedal: Sequence[tuple[float, int]] = (),
    extra: Sequence[tuple[float, mido.MetaMessage]] = (),
    meter: tuple[int, int] = (4, 4),
    tempo: int = 500_000,
) -> Score:
    """One track a voice, on channels 0, 1, … unless said; pedal (CC64) goes to all; `extra` to a first track."""
    file = mido.MidiFile(type=1, ticks_per_beat=TPQ)
    file.tracks.append(mido.MidiTrack())
    file.tracks[0].append(mido.MetaMessage("set_tempo", tempo=tempo))
    file.tracks[0].append(mido.MetaMessage("time_signature", numerator=meter[0], denominator=meter[1]))
    _add(file.tracks[0], [(round(at * TPQ), message) for at, message in extra])
    for i, voice in enumerate(voices):
        channel = channels[i] if channels else i
        timed = [
            (round(at * TPQ), mido.Message("control_change", control=64, value=v, channel=channel))
            for at, v in pedal
        ]
        for start, length, key in voice:
            off = mido.Message("note_off", note=key, channel=channel)
            on = mido.Message("note_on", note=key, velocity=80, channel=channel)
            timed += [(round((start + length) * TPQ), off), (round(start * TPQ), on)]
        file.tracks.append(mido.MidiTrack())
        _add(file.tracks[-1], timed)
    data = io.BytesIO()
    file.save(file=data)
    return read_score(data.getvalue())


def _add(track: mido.MidiTrack, timed: list[tuple[int, mido.Message]]) -> None:
    """Releases before onsets at one tick."""
    now = 0
    for tick, message in sorted(timed, key=lambda item: (item[0], item[1].type == "note_on")):
        track.append(message.copy(time=tick - now))
        now = tick


def blocks(*chords: Sequence[int], length: float = 2.0) -> list[list[Note]]:
    """Voices of block chords, one after another."""
    size = max(map(len, chords))
    return [
        [(i * length, length, chord[v]) for i, chord in enumerate(chords) if v < len(chord)]
        for v in range(size)
    ]


def row(keys: Sequence[int], length: float, start: float = 0.0) -> list[Note]:
    """Notes one after another."""
    return [(start + i * length, length, key) for i, key in enumerate(keys)]


def name(window: object) -> str:
    """ "G7", "F#min7" …: root and symbol of a window, without the bass."""
    chord = int(window["chord"])  # type: ignore[index]
    return NAMES[int(window["root_pc"])] + (" " + CHORD_TYPES[chord].symbol if chord >= 0 else " -")  # type: ignore[index]


def heard(score: Score, hints: Sequence[Hint] = ()) -> list[tuple[float, str]]:
    """(start in quarters, chord) wherever the chord changes."""
    return changes(find_harmony(score, hints=hints))


def changes(harmony: Harmony) -> list[tuple[float, str]]:
    """(start in quarters, chord) wherever the chord changes."""
    rows = [(int(w["start_tick"]) / TPQ, name(w)) for w in harmony.windows]
    return [r for i, r in enumerate(rows) if not i or rows[i - 1][1] != r[1]]

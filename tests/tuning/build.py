"""Small scores for the tuning tests: chords as lists of keys, written to bytes and read back."""

from __future__ import annotations

import io

import mido
import numpy as np

from retune.harmony import Harmony, Hint, find_harmony
from retune.options import Options
from retune.ratios import Ratios, choose_ratios
from retune.score import Score, read_score
from retune.tuning import Tuning, solve_tuning

TPQ = 480
Note = tuple[int, float, float, int]  # part, start in quarters, length in quarters, key


def score_of(
    notes: list[Note], names: dict[int, str] | None = None, programs: dict[int, int] | None = None
) -> Score:
    """Score with one track and channel a part."""
    file = mido.MidiFile(type=1, ticks_per_beat=TPQ)
    for part in sorted({n[0] for n in notes}):
        events = []
        for p, start, length, key in notes:
            if p == part:
                a, b = round(start * TPQ), round((start + length) * TPQ)
                events += [(a, 1, key, 80), (b, 0, key, 64)]
        track = mido.MidiTrack(
            [mido.MetaMessage("track_name", name=(names or {}).get(part, f"voice {part}"))]
        )
        channel = part if part < 9 else part + 1
        track.append(mido.Message("program_change", channel=channel, program=(programs or {}).get(part, 19)))
        now = 0
        for tick, on, key, velocity in sorted(events):
            kind = "note_on" if on else "note_off"
            track.append(mido.Message(kind, channel=channel, note=key, velocity=velocity, time=tick - now))
            now = tick
        file.tracks.append(track)
    data = io.BytesIO()
    file.save(file=data)
    return read_score(data.getvalue())


def chords(keys: list[list[int]], length: float = 2.0, tie: bool = True) -> list[Note]:
    """One chord after another, a part for each place in the chord; keys common to neighbours tied if wanted."""
    notes: list[Note] = []
    running: dict[int, tuple[int, float]] = {}
    for i, chord in enumerate(keys):
        now = i * length
        for key in list(running):
            if key not in chord or not tie:
                part, start = running.pop(key)
                notes.append((part, start, now - start, key))
        free = [p for p in range(len(chord) + len(running)) if p not in {v[0] for v in running.values()}]
        for key in chord:
            if key not in running:
                running[key] = (free.pop(0), now)
    end = len(keys) * length
    notes += [(part, start, end - start, key) for key, (part, start) in running.items()]
    return notes


def hints(roots: list[tuple[int, str]], length: float = 2.0) -> list[Hint]:
    """One given window a chord."""
    step = round(length * TPQ)
    return [
        Hint(start_tick=i * step, end_tick=(i + 1) * step, root_pc=root, chord=chord)
        for i, (root, chord) in enumerate(roots)
    ]


def tuned(
    score: Score, given: list[Hint] | None = None, **options: object
) -> tuple[Harmony, Ratios, Tuning, Options]:
    """Harmony, ratios and tuning of a score, and the options used."""
    chosen = Options(**options)  # type: ignore[arg-type]
    harmony = find_harmony(score, hints=given or ())
    ratios = choose_ratios(harmony, prime_limit=chosen.prime_limit)
    return harmony, ratios, solve_tuning(score, harmony, ratios, chosen), chosen


def offsets_at(score: Score, tuning: Tuning, quarter: float) -> dict[int, float]:
    """{key: offset in cents} of what sounds at a time."""
    tick = round(quarter * TPQ)
    rows = tuning.offsets
    now = rows[(rows["start_tick"] <= tick) & (rows["end_tick"] > tick)]
    return {int(score.notes["key"][r["note"]]): float(r["offset_cents"]) for r in now}


def movement(score: Score, tuning: Tuning) -> np.ndarray:
    """(n_notes,) how far each note moves while it sounds [cents]."""
    low, high = np.full(len(score.notes), np.inf), np.full(len(score.notes), -np.inf)
    np.minimum.at(low, tuning.offsets["note"], tuning.offsets["offset_cents"])
    np.maximum.at(high, tuning.offsets["note"], tuning.offsets["offset_cents"])
    return np.where(np.isfinite(low), high - low, 0.0)


def score_of_corpus(name: str) -> Score:
    """A score of the music21 corpus, one part a voice."""
    from music21 import corpus

    notes: list[Note] = []
    for part, voice in enumerate(corpus.parse(name).parts):
        for note in voice.stripTies().flatten().notes:
            start, length = float(note.offset), max(float(note.duration.quarterLength), 1 / TPQ)
            notes += [(part, start, length, pitch.midi) for pitch in note.pitches]
    return score_of(notes)

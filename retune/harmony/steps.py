"""Time cut into steps, and what sounds in each: the evidence the finder works from.

A step runs from one gathered onset to the next. Onsets up to `GATHER_SECONDS` apart count as one (rolled and
strummed chords, performed timing). Releases make no step of their own: they show in the durations.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retune.arrays import percentile
from retune.harmony.bass import bass_start, find_own_basses, lowest_keys, remember_bass, weigh_bass
from retune.harmony.metre import Grid, notated_grid, shifted_grid
from retune.harmony.motion import Motion, find_motion
from retune.harmony.rests import silent_beats
from retune.harmony.suspensions import find_suspensions
from retune.harmony.weights import WEIGHTS, Weights
from retune.score.model import Clock, FloatArray, IntArray, Score
from retune.score.ringing import ringing_end_ticks

GATHER_SECONDS = 0.060  # experiment: the notes of rolled and of performed chords start closer than this
OVERLAP_SECONDS, OVERLAP_SHARE = 0.1, 0.25
"""A note may sound so far, and so much of its length, into the one it goes on to: legato (experiment)."""
MELODY_VOICES, CHORDAL_VOICES = 1.2, 1.6  # notes at once in a melody, in a part that plays chords (averages)
MELODY_NEAR = 0.6  # share of the notes of a melody that are reached by step or repetition
FULL_BEATS = (
    4.0  # a note held longer says less and less about the harmony: half each so many beats (experiment)
)
MAX_STEPS_OF_A_NOTE = 256  # a note held longer is an organ point that no longer tells the harmony
MOST_SHARES = 4_000_000  # of notes in steps, some 80 bytes each; no music comes near it


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """Evidence per step; n steps, bounded by n + 1 ticks."""

    bounds: IntArray  # (n + 1,) ticks, ascending: gathered onsets, or the silent beats before them
    beats: FloatArray  # (n,) length in beats
    amount: FloatArray  # (n, 12) weighted duration of each pitch class [beats], voices saturating
    bass: IntArray  # (n,) key of the lowest note that carries the step, -1: silence
    bass_weight: FloatArray  # (n,) how far that note can be taken for a bass, 0-1
    attack: FloatArray  # (n,) how many notes start here, and the lowest of them
    crowd: FloatArray  # (n,) the same, 1 where as many start as anywhere but in a tenth of the steps
    grid: Grid
    strength: IntArray  # (n,) metrical strength of the onsets (`Grid.strength`)
    novelty: FloatArray  # (n,) how much the harmony seems to change at the starts
    key: IntArray  # (n_notes,) MIDI key of each pitched note
    first: IntArray  # (n_notes,) step in which each pitched note starts
    motion: Motion  # of the pitched notes

    def __len__(self) -> int:
        return len(self.beats)


def find_steps(score: Score, weights: Weights = WEIGHTS) -> Steps:
    """Cut the pitched notes of a score into steps."""
    notes = score.notes[score.pitched]
    if not len(notes):
        return _empty(score)
    onset = notes["onset_tick"].astype(np.int64)
    starts = gather_onsets(onset, score.clock)
    end = ringing_end_ticks(score)[score.pitched]
    bounds = np.append(starts, max(int(end.max()), int(onset[-1]) + 1))
    first = np.searchsorted(starts, onset, side="right") - 1
    key = notes["key"].astype(np.int64)
    lengths = np.diff(bounds)
    end = np.maximum(end, notes["release_tick"])
    note, step, held, ringing = _overlaps(
        bounds, first, notes, end, but_for_late_releases(end, onset, score.clock)
    )
    overlap = held + weights.pedal * ringing
    share = overlap / lengths[step]
    fingered = lowest_keys(key[note], step, held / lengths[step], len(lengths))
    bass = lowest_keys(key[note], step, (held + ringing) / lengths[step], len(lengths))
    attack = np.bincount(first, minlength=len(lengths)).astype(np.float64)
    crowd = attack / max(1.0, percentile(attack, 90))
    grid = notated_grid(score.meters)
    beats = lengths / grid.beat_ticks(starts)
    alone = np.bincount(step, weights=held + ringing > 0, minlength=len(lengths)) == 1
    bass_weight = weigh_bass(bass, beats, alone, weights)
    bass_weight[bass != fingered] *= weights.ringing_bass
    at = np.cumsum(beats) - beats
    bass_weight *= _fading(at - at[bass_start(bass, key, first)])
    cell = step * 12 + key[note] % 12
    sounds = _by_pitch_class(cell, overlap, len(beats))
    novelty = _novelty(sounds, beats, bass, bass_weight, crowd)
    grid = shifted_grid(grid, starts, novelty)
    strength = grid.strength(starts)
    over = _over(bounds, first, notes, score.clock)
    motion = find_motion(notes, first, over, len(lengths), grid.beat_ticks(onset))
    speaks = motion.ornament(strength[first], weights)[note]
    speaks *= np.where(step == first[note], 1.0, weights.held)
    speaks *= _fading(at[step] - at[first[note]])
    speaks *= _part_weight(notes["part"].astype(np.int64), motion, note, step, share, len(beats), weights)
    suspended = find_suspensions(key, first, motion, note, step, sounds, bass, strength)
    resolved = (key + motion.out)[note[suspended]]
    lowest = bass[step[suspended]] == key[note[suspended]]
    cell[suspended] = step[suspended] * 12 + resolved % 12
    bass[step[suspended][lowest]] = resolved[lowest]
    voices = _by_pitch_class(cell, share * speaks, len(beats))
    voices[((voices > 0).sum(axis=1) < 2) & (bass_weight <= 0.5)] *= weights.lone
    own = find_own_basses(bass, key, first, note, step, held / lengths[step] * beats[step])
    remember_bass(bass, bass_weight, own, voices, beats, weights)
    bounds[:-1] = silent_beats(starts, onset, end, grid)
    return Steps(
        bounds=bounds,
        beats=beats,
        amount=beats[:, None] * np.minimum(voices, voices**weights.voices_power),
        bass=bass,
        bass_weight=bass_weight,
        attack=attack,
        crowd=crowd,
        grid=grid,
        strength=strength,
        novelty=novelty,
        key=key,
        first=first,
        motion=motion,
    )


def gather_onsets(onset: IntArray, clock: Clock) -> IntArray:
    """(n,) ascending ticks at which a step starts, from ascending note onsets."""
    ticks: IntArray = onset[np.concatenate([[True], np.diff(onset) > 0])]
    seconds = clock.seconds(ticks)
    if len(ticks) < 2 or np.diff(seconds).min() > GATHER_SECONDS:
        return ticks
    at = seconds.tolist()
    keep, i = [], 0
    while i < len(at):
        keep.append(i)
        i = bisect_right(at, at[i] + GATHER_SECONDS, i)
    result: IntArray = ticks[np.array(keep)]
    return result


def _over(bounds: IntArray, first: IntArray, notes: NDArray[np.void], clock: Clock) -> IntArray:
    """(n_notes,) first step that starts when a note is over, but for a legato overlap."""
    onset, release = notes["onset_tick"].astype(np.int64), notes["release_tick"].astype(np.int64)
    legato = np.maximum(
        clock.ticks(clock.seconds(release) - OVERLAP_SECONDS), release - OVERLAP_SHARE * (release - onset)
    )
    result: IntArray = np.maximum(np.searchsorted(bounds[:-1], legato, side="left"), first + 1)
    return result


def but_for_late_releases(end: IntArray, onset: IntArray, clock: Clock) -> IntArray:
    """(n,) tick until which a note can count in what follows: a key that comes up late belongs to what was before."""
    result: IntArray = np.maximum(clock.ticks(clock.seconds(end) - GATHER_SECONDS), onset + 1)
    return result


def _overlaps(
    bounds: IntArray, first: IntArray, notes: NDArray[np.void], end: IntArray, until: IntArray
) -> tuple[IntArray, IntArray, IntArray, IntArray]:
    """(note, step, ticks held by a finger, ticks ringing on under the pedal) for every step a note sounds in.

    A note sounds to its `end`, but in no step that starts after it counts no more (`until`).
    """
    release = np.maximum(notes["release_tick"], notes["onset_tick"] + 1)
    end = np.maximum(end, release)
    last = np.searchsorted(bounds, until, side="left") - 1
    count = np.clip(last - first + 1, 1, MAX_STEPS_OF_A_NOTE)
    if int(count.sum()) > MOST_SHARES:
        count = np.minimum(count, max(MOST_SHARES // len(notes), 1))
    note = np.repeat(np.arange(len(notes)), count)
    step = np.arange(len(note)) - np.repeat(np.cumsum(count) - count, count) + first[note]
    low, high = bounds[step], bounds[step + 1]
    held = np.maximum(np.minimum(release[note], high) - low, 0)
    ringing = np.maximum(np.minimum(end[note], high) - low, 0)
    return note, step, held, ringing - held


def _by_pitch_class(cell: IntArray, weight: FloatArray, n: int) -> FloatArray:
    """(n, 12) summed weights of the cells 12·step + pitch class."""
    total = np.bincount(cell, weights=weight, minlength=12 * n)
    return total.astype(np.float64).reshape(-1, 12)


def _part_weight(
    part: IntArray,
    motion: Motion,
    note: IntArray,
    step: IntArray,
    share: FloatArray,
    n: int,
    weights: Weights,
) -> FloatArray:
    """(n_pairs,) 1, less for a melody (a single line, mostly by step) beside a part that plays chords."""
    parts = int(part.max()) + 1
    voices = np.bincount(part[note] * n + step, weights=share, minlength=parts * n).reshape(parts, n)
    polyphony = voices.sum(axis=1) / np.maximum((voices > 0).sum(axis=1), 1)
    if not (polyphony >= CHORDAL_VOICES).any():
        return np.ones(len(note))
    sings = np.bincount(part, weights=motion.near, minlength=parts) / np.maximum(np.bincount(part), 1)
    melody = (polyphony < MELODY_VOICES) & (sings >= MELODY_NEAR)
    result: FloatArray = np.where(melody, weights.melody, 1.0)[part[note]]
    return result


def _novelty(
    sounds: FloatArray, beats: FloatArray, bass: IntArray, bass_weight: FloatArray, crowd: FloatArray
) -> FloatArray:
    """(n,) how much the harmony seems to change at the start of each step.

    One less the cosine between the pitch classes of the beat before and the beat after, stressed where the bass
    moves and where many notes start together.
    """
    edges = np.concatenate([[0.0], np.cumsum(beats)])
    total = np.vstack([np.zeros(12), np.cumsum(sounds, axis=0)])

    def until(places: FloatArray) -> FloatArray:
        at = np.clip(np.searchsorted(edges, places, side="right") - 1, 0, len(beats) - 1)
        part = np.clip((places - edges[at]) / beats[at], 0.0, 1.0)
        result: FloatArray = total[at] + part[:, None] * sounds[at]
        return result

    here = total[:-1]
    after, before = until(edges[:-1] + 1.0) - here, here - until(edges[:-1] - 1.0)
    size = np.linalg.norm(after, axis=1) * np.linalg.norm(before, axis=1)
    likeness = (after * before).sum(axis=1) / np.maximum(size, 1e-9)
    moves = np.concatenate([[1.0], (np.diff(bass) != 0) * bass_weight[1:]])
    result: FloatArray = (1.0 - likeness) * (0.3 + moves) * (0.3 + np.minimum(crowd, 1.0))
    return result


def _fading(age: FloatArray) -> FloatArray:
    """What a note still says about the harmony so many beats after its start: less and less, as organ points do."""
    result: FloatArray = 0.5 ** (np.maximum(age - FULL_BEATS, 0.0) / FULL_BEATS)
    return result


def _empty(score: Score) -> Steps:
    none, no_notes = np.zeros(0), np.zeros(0, dtype=np.int64)
    return Steps(
        bounds=np.zeros(1, dtype=np.int64),
        beats=none,
        amount=np.zeros((0, 12)),
        bass=no_notes,
        bass_weight=none,
        attack=none,
        crowd=none,
        grid=notated_grid(score.meters),
        strength=no_notes,
        novelty=none,
        key=no_notes,
        first=no_notes,
        motion=Motion(
            before=no_notes,
            after=no_notes,
            into=no_notes,
            out=no_notes,
            again=no_notes > 0,
            next_step=no_notes,
        ),
    )

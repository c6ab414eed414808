"""Time cut into steps, and what sounds in each: the evidence the finder works from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from retune.arrays import percentile
from retune.harmony.evidence.bass import bass_start, find_own_basses, lowest_keys, remember_bass, weigh_bass
from retune.harmony.evidence.cuts import Cuts, cut_notes
from retune.harmony.evidence.metre import Grid, notated_grid, shifted_grid
from retune.harmony.evidence.motion import Motion, find_motion
from retune.harmony.evidence.novelty import find_novelty
from retune.harmony.evidence.rests import silent_beats
from retune.harmony.evidence.suspensions import find_suspensions
from retune.harmony.evidence.weights import WEIGHTS, Weights
from retune.score.model import FloatArray, IntArray, Score
from retune.score.ringing import ringing_end_ticks

MELODY_VOICES, CHORDAL_VOICES = 1.2, 1.6  # notes at once in a melody, in a part that plays chords (averages)
MELODY_NEAR = 0.6  # share of the notes of a melody that are reached by step or repetition
FULL_BEATS = (
    4.0  # a note held longer says less and less about the harmony: half each so many beats (experiment)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """Evidence per step (`cuts`); n steps, bounded by n + 1 ticks."""

    bounds: IntArray  # (n + 1,) ticks, ascending: gathered onsets, or the silent beats before them
    beats: FloatArray  # (n,) length in beats
    at: FloatArray  # (n,) beats since the first step
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
    end: IntArray  # (n_notes,) tick to which each is heard (`retune.score.ringing`)
    until: IntArray  # (n_notes,) tick until which each can count in what follows (`cuts`)
    motion: Motion  # of the pitched notes

    def __len__(self) -> int:
        return len(self.beats)

    def bass_beats(self, first: IntArray) -> FloatArray:
        """(n_runs, 12) beats each pitch class lies lowest in runs of steps, of which `first` are the first ones."""
        table = np.zeros((len(self), 12))
        table[np.arange(len(self)), self.bass % 12] = self.beats * self.bass_weight  # no weight in silence
        result: FloatArray = np.add.reduceat(table, first, axis=0)
        return result


def find_steps(score: Score, weights: Weights = WEIGHTS) -> Steps:
    """Cut the pitched notes of a score into steps."""
    notes = score.notes[score.pitched]
    if not len(notes):
        return _empty(score)
    onset = notes["onset_tick"].astype(np.int64)
    end = ringing_end_ticks(score)[score.pitched]
    cuts = cut_notes(notes, end, score.clock)
    starts = cuts.bounds[:-1]
    grid = notated_grid(score.meters)
    beats = cuts.lengths / grid.beat_ticks(starts)
    at = beats.cumsum() - beats
    attack = np.bincount(cuts.first, minlength=len(cuts)).astype(np.float64)
    crowd = attack / max(1.0, percentile(attack, 90))
    bass, bass_weight = _find_bass(cuts, at, weights)
    sounds = cuts.by_pitch_class(cuts.key[cuts.note], cuts.held + weights.pedal * cuts.ringing)
    novelty = find_novelty(sounds, beats, bass, bass_weight, crowd)
    grid = shifted_grid(grid, starts, novelty)
    strength = grid.strength(starts)
    motion = find_motion(notes, cuts.first, cuts.over, len(cuts), grid.beat_ticks(onset))
    spoken_for = _resolve_suspensions(cuts, motion, sounds, bass, strength)
    speaks = _weigh(cuts, notes["part"].astype(np.int64), motion, strength, at, weights)
    voices = cuts.by_pitch_class(spoken_for, speaks)
    voices[((voices > 0).sum(axis=1) < 2) & (bass_weight <= 0.5)] *= weights.lone
    held_beats = cuts.held / cuts.lengths[cuts.step] * beats[cuts.step]
    own = find_own_basses(bass, cuts.key, cuts.first, cuts.note, cuts.step, held_beats)
    remember_bass(bass, bass_weight, own, voices, at, weights)
    return Steps(
        bounds=np.append(silent_beats(starts, onset, end, grid), cuts.bounds[-1]),
        beats=beats,
        at=at,
        amount=beats[:, None] * np.minimum(voices, voices**weights.voices_power),
        bass=bass,
        bass_weight=bass_weight,
        attack=attack,
        crowd=crowd,
        grid=grid,
        strength=strength,
        novelty=novelty,
        key=cuts.key,
        first=cuts.first,
        end=end,
        until=cuts.until,
        motion=motion,
    )


def _find_bass(cuts: Cuts, at: FloatArray, weights: Weights) -> tuple[IntArray, FloatArray]:
    """(n,) key of the lowest note of each step, -1 in silence, and how far it can be taken for a bass."""
    key, lengths, heard = cuts.key[cuts.note], cuts.lengths[cuts.step], cuts.held + cuts.ringing
    bass = lowest_keys(key, cuts.step, heard / lengths, len(cuts))
    alone = np.bincount(cuts.step, weights=heard > 0, minlength=len(cuts)) == 1
    weight = weigh_bass(bass, at, alone, weights)
    if cuts.ringing.any():
        fingered = lowest_keys(key, cuts.step, cuts.held / lengths, len(cuts))
        weight[bass != fingered] *= weights.ringing_bass
    weight *= _fading(at - at[bass_start(bass, cuts.key, cuts.first)])
    return bass, weight


def _resolve_suspensions(
    cuts: Cuts, motion: Motion, sounds: FloatArray, bass: IntArray, strength: IntArray
) -> IntArray:
    """(k,) key for which each row of `cuts` speaks: its own, or that to which a suspension resolves.

    Changes `bass` in place where the lowest note is one.
    """
    spoken_for: IntArray = cuts.key[cuts.note]
    rows = find_suspensions(cuts.key, cuts.first, motion, cuts.note, cuts.step, sounds, bass, strength)
    resolved = (cuts.key + motion.out)[cuts.note[rows]]
    lowest = bass[cuts.step[rows]] == spoken_for[rows]
    bass[cuts.step[rows][lowest]] = resolved[lowest]
    spoken_for[rows] = resolved
    return spoken_for


def _weigh(
    cuts: Cuts, part: IntArray, motion: Motion, strength: IntArray, at: FloatArray, weights: Weights
) -> FloatArray:
    """(k,) how much each row of `cuts` speaks for the harmony of its step.

    Its share of the time; less for ornaments, notes held from before, and melodies beside chords.
    """
    share = (cuts.held + weights.pedal * cuts.ringing) / cuts.lengths[cuts.step]
    start = cuts.first[cuts.note]
    speaks = motion.ornament(strength[cuts.first], weights)[cuts.note]
    speaks *= np.where(cuts.step == start, 1.0, weights.held)
    speaks *= _fading(at[cuts.step] - at[start])
    speaks *= _part_weight(cuts, part, motion, share, weights)
    result: FloatArray = share * speaks
    return result


def _part_weight(
    cuts: Cuts, part: IntArray, motion: Motion, share: FloatArray, weights: Weights
) -> FloatArray:
    """(k,) 1, less for a melody (a single line, mostly by step) beside a part that plays chords."""
    parts, n = int(part.max()) + 1, len(cuts)
    voices = np.bincount(part[cuts.note] * n + cuts.step, weights=share, minlength=parts * n).reshape(
        parts, n
    )
    polyphony = voices.sum(axis=1) / np.maximum((voices > 0).sum(axis=1), 1)
    if not (polyphony >= CHORDAL_VOICES).any():
        return np.ones(len(cuts.note))
    sings = np.bincount(part, weights=motion.near, minlength=parts) / np.maximum(np.bincount(part), 1)
    melody = (polyphony < MELODY_VOICES) & (sings >= MELODY_NEAR)
    result: FloatArray = np.where(melody, weights.melody, 1.0)[part[cuts.note]]
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
        at=none,
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
        end=no_notes,
        until=no_notes,
        motion=Motion(
            before=no_notes,
            after=no_notes,
            into=no_notes,
            out=no_notes,
            again=no_notes > 0,
            next_step=no_notes,
        ),
    )

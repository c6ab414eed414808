"""The wishes of the tuning problem as rows: x_first − x_second should be target, and how much that counts."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from retune.arrays import among
from retune.constants import CHORD_SHARE
from retune.harmony.model import Harmony, Role
from retune.harmony.vocabulary import AUGMENTED_SIXTH_INDICES
from retune.ratios.consonances import pure_deviations
from retune.ratios.model import Ratios
from retune.score.model import Score
from retune.score.ringing import ringing_end_ticks
from retune.tuning.unknowns import Unknowns
from retune.tuning.weights import (
    LEAPS,
    PARTNERS_IN_A_CROWD,
    PARTNERS_PER_NOTE,
    REPEAT_FADING_QUARTERS,
    REPEAT_REACH_QUARTERS,
    STRIDE_GAP_QUARTERS,
    STRIDES,
    Weights,
)

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


PREPARED = (Role.SUSPENSION, Role.PEDAL)  # roles of notes that keep the pitch they had


class Rows(NamedTuple):
    """Soft rows of the problem, one-dimensional arrays of one length."""

    first: Ints
    second: Ints
    target: Floats  # [cents]
    weight: Floats
    one_sided: bool = False  # only what lies above the target counts

    def where(self, keep: NDArray[np.bool_]) -> Rows:
        """The rows marked True."""
        return Rows(self.first[keep], self.second[keep], self.target[keep], self.weight[keep], self.one_sided)


class Pairs(NamedTuple):
    """Consonant intervals that sound: what purity is measured on."""

    rows: Rows
    upper_note: Ints
    lower_note: Ints
    window: Ints  # window in force when the pair begins to sound
    start_tick: Ints
    heard: int  # pairs of notes that were looked at, consonant or not
    left_out: int  # pairs that were not, because too many notes sound at once
    left_out_from: int  # tick of the first note whose pairs were left out; -1: none


def consonant_deviations(prime_limit: int) -> Floats:
    """(12,) cents the usual form of a consonance lies from its equal-tempered size; nan for dissonant classes."""
    usual: Floats = pure_deviations(prime_limit)[0]
    return usual


class _Spans(NamedTuple):
    """What can sound together: whole notes, or pieces of notes that are cut. Ordered by start."""

    note: Ints
    unknown: Ints
    window: Ints
    start: Ints
    release: Ints
    end: Ints


def _spans(score: Score, harmony: Harmony, unknowns: Unknowns) -> _Spans:
    notes, pieces = score.notes, harmony.pieces
    cut = np.zeros(len(notes), dtype=bool)
    cut[unknowns.cut_notes] = True
    whole = np.zeros(len(pieces), dtype=bool)
    whole[unknowns.first_piece[unknowns.first_piece >= 0]] = True
    take = np.flatnonzero(cut[pieces["note"]] | whole)
    note = pieces["note"][take]
    is_cut = cut[note]
    start = pieces["start_tick"][take]
    end = np.where(is_cut, pieces["end_tick"][take], ringing_end_ticks(score)[note])
    release = notes["release_tick"][note]
    order = np.argsort(start, kind="stable")
    return _Spans(
        note[order],
        unknowns.of_piece[take][order],
        pieces["window"][take][order],
        start[order],
        np.minimum(release, end)[order],
        end[order],
    )


class Overlaps(NamedTuple):
    """Pairs of spans that overlap, as indices, and how many partners of each span were left out."""

    earlier: Ints  # (n_pairs,)
    later: Ints  # (n_pairs,)
    left_out: Ints  # (n_spans,)


def overlapping(start: Ints, end: Ints) -> Overlaps:
    """All pairs of spans that overlap; `start` ascending.

    Spans that start together count as overlapping if both have length. Linear in the number of pairs; if
    there are more than `PARTNERS_PER_NOTE` a span on average, only the next `PARTNERS_IN_A_CROWD` are taken for each.
    """
    index = np.arange(len(start))
    count = np.maximum(np.searchsorted(start, end, side="left") - index - 1, 0)
    left_out = np.zeros_like(count)
    if int(count.sum()) > PARTNERS_PER_NOTE * len(start) + 10_000:
        left_out = np.maximum(count - PARTNERS_IN_A_CROWD, 0)
        count -= left_out
    earlier = np.repeat(index, count)
    offset = np.arange(len(earlier)) - np.repeat(np.cumsum(count) - count, count)
    return Overlaps(earlier, earlier + 1 + offset, left_out)


def pair_rows(
    score: Score, harmony: Harmony, ratios: Ratios, unknowns: Unknowns, weights: Weights, prime_limit: int
) -> Pairs:
    """Every consonant interval that sounds, with its pure size in the window where it begins."""
    spans = _spans(score, harmony, unknowns)
    a, b, left_out = overlapping(spans.start, spans.end)
    heard, crowded = len(a), np.flatnonzero(left_out)
    key = score.notes["key"].astype(np.int64)[spans.note]
    interval = (key[b] - key[a]) % 12
    pure = consonant_deviations(prime_limit)
    keep = ~np.isnan(pure[interval]) & (spans.unknown[a] != spans.unknown[b])
    # The class seen from the lower of the two notes, so that octaves and inversions keep their sign.
    a, b = a[keep], b[keep]
    swap = key[b] < key[a]
    upper, lower = np.where(swap, a, b), np.where(swap, b, a)
    window = spans.window[b]
    start = spans.start[b]
    sounding = np.minimum(spans.end[a], spans.end[b]) - start
    written = np.clip(np.minimum(spans.release[a], spans.release[b]) - start, 0, None)
    quarters = (written + weights.ringing * (sounding - written)) / score.clock.ticks_per_quarter
    target = _targets(harmony, ratios, key[upper], key[lower], window, pure, prime_limit)
    weight = weights.pair * quarters * _insistence(ratios, weights, window)
    weight = np.where(interval[keep] == 0, weights.octave, 1.0) * weight
    rows = Rows(spans.unknown[upper], spans.unknown[lower], target, weight)
    live = quarters > 0
    return Pairs(
        rows.where(live),
        spans.note[upper][live],
        spans.note[lower][live],
        window[live],
        start[live],
        heard=heard,
        left_out=int(left_out.sum()),
        left_out_from=int(spans.start[crowded[0]]) if len(crowded) else -1,
    )


def _targets(
    harmony: Harmony,
    ratios: Ratios,
    upper: Ints,
    lower: Ints,
    window: Ints,
    pure: Floats,
    prime_limit: int,
) -> Floats:
    """The pure consonance, or the window's own ratios where they are of a kind that has others.

    Up to prime limit 5 a table differs from the pure consonances only where not all of them can be had at once,
    as in a diminished seventh: which of them gives way the whole piece decides. Higher limits have more than one
    kind of third, and the user may want what they like: there both notes being chord tones the table is obeyed. So it
    is in augmented sixths, where what sounds like a third need be none: E♭–F♯.
    """
    own = _insisted(ratios)[window] | (prime_limit > 5)
    own |= among(harmony.windows["chord"][window], AUGMENTED_SIXTH_INDICES)
    root = harmony.windows["root_pc"].astype(np.int64)[window]
    members = harmony.windows["members"].astype(np.int64)[window]
    above, below = (upper - root) % 12, (lower - root) % 12
    own &= ((members >> above) & (members >> below) & 1).astype(bool)
    deviation = ratios.deviations
    chordal = deviation[window, above] - deviation[window, below]
    result: Floats = np.where(own, chordal, pure[(upper - lower) % 12])
    return result


def _insistence(ratios: Ratios, weights: Weights, window: Ints) -> Floats:
    """Factor on the weight of intervals in each window: what the user asks for goes before what was found."""
    return np.where(_insisted(ratios)[window], weights.insisted, 1.0)


def _insisted(ratios: Ratios) -> NDArray[np.bool_]:
    """(n_windows,) True where the user gave the ratios."""
    nowhere = np.zeros(len(ratios.table_of_window), dtype=bool)
    return nowhere if ratios.insisted is None else ratios.insisted


def frame_rows(score: Score, harmony: Harmony, ratios: Ratios, unknowns: Unknowns, weights: Weights) -> Rows:
    """Every piece against its window's root: tunes broken chords, and notes that sound alone."""
    pieces = harmony.pieces
    target = piece_deviations(score, harmony, ratios)
    length = (pieces["end_tick"] - pieces["start_tick"]) / score.clock.ticks_per_quarter
    chordal = pieces["role"] == Role.CHORD
    weight = np.where(chordal, weights.frame, weights.frame_foreign) * np.clip(length, 0.05, 8.0)
    weight = weight * _insistence(ratios, weights, pieces["window"])
    return Rows(unknowns.of_piece, unknowns.of_window(pieces["window"]), target, weight)


def piece_deviations(score: Score, harmony: Harmony, ratios: Ratios) -> Floats:
    """(n_pieces,) cents each piece's ratio lies from its equal-tempered place above its window's root."""
    pieces = harmony.pieces
    root = harmony.windows["root_pc"].astype(np.int64)[pieces["window"]]
    above = (score.notes["key"].astype(np.int64)[pieces["note"]] - root) % 12
    result: Floats = ratios.deviations[pieces["window"], above]
    return result


def repeats(score: Score) -> tuple[Ints, Ints, Floats]:
    """(earlier note, later note, gap in quarters) for every pitched note struck again in its part."""
    notes = score.notes
    pitched = np.flatnonzero(score.pitched & (notes["release_tick"] > notes["onset_tick"]))
    order = pitched[np.lexsort((notes["onset_tick"][pitched], notes["key"][pitched], notes["part"][pitched]))]
    earlier, later = order[:-1], order[1:]
    same = (notes["part"][earlier] == notes["part"][later]) & (notes["key"][earlier] == notes["key"][later])
    gap = (notes["onset_tick"][later] - notes["release_tick"][earlier]) / score.clock.ticks_per_quarter
    keep = same & (gap >= 0) & (gap < REPEAT_REACH_QUARTERS)
    return earlier[keep], later[keep], gap[keep]


def repeat_rows(score: Score, harmony: Harmony, unknowns: Unknowns, weights: Weights) -> Rows:
    """A note struck again in its part keeps its pitch, the more the sooner it returns and the longer it is.

    The weight grows with the square root of the length, between a wish per repeat and a wish per time: the
    best of the three on choral scores, which count in half notes, and on songs, which count in eighths.
    A note that is struck again as a suspension or a pedal keeps it firmly.
    """
    earlier, later, gap = repeats(score)
    length = (score.notes["release_tick"] - score.notes["onset_tick"]) / score.clock.ticks_per_quarter
    shorter = np.clip(np.minimum(length[earlier], length[later]), 0.1, 8.0)
    weight = (
        weights.repeat * np.sqrt(shorter) * np.maximum(1.0 - gap / REPEAT_FADING_QUARTERS, weights.far_repeat)
    )
    weight[among(harmony.pieces["role"][unknowns.first_piece[later]], PREPARED)] = weights.prepared
    first = unknowns.of_piece[unknowns.first_piece[later]]
    second = unknowns.of_piece[unknowns.last_piece[earlier]]
    return Rows(first, second, np.zeros(len(first)), weight)


def step_rows(score: Score, harmony: Harmony, unknowns: Unknowns, weights: Weights) -> Rows:
    """Passing and neighbour notes lie at an even step from the notes they move between."""
    notes, pieces = score.notes, harmony.pieces
    moving = among(pieces["role"], (Role.PASSING, Role.NEIGHBOUR, Role.ANTICIPATION))
    is_moving = np.zeros(len(notes), dtype=bool)
    is_moving[pieces["note"][moving]] = True
    pitched = np.flatnonzero(score.pitched)
    order = pitched[np.lexsort((notes["onset_tick"][pitched], notes["part"][pitched]))]
    found: list[tuple[Ints, Ints]] = []
    for shift in (1, 2):  # two, so that a step is found in parts of two voices
        before, after = order[:-shift], order[shift:]
        near = (notes["part"][before] == notes["part"][after]) & (is_moving[before] | is_moving[after])
        apart = np.abs(notes["key"][before].astype(np.int64) - notes["key"][after])
        gap = notes["onset_tick"][after] - notes["release_tick"][before]
        near &= (apart >= 1) & (apart <= 2) & (np.abs(gap) < score.clock.ticks_per_quarter)
        found.append((before[near], after[near]))
    before = np.concatenate([f[0] for f in found])
    after = np.concatenate([f[1] for f in found])
    length = (notes["release_tick"] - notes["onset_tick"]) / score.clock.ticks_per_quarter
    weight = weights.step * np.clip(np.minimum(length[before], length[after]), 0.05, 2.0)
    first = unknowns.of_piece[unknowns.first_piece[after]]
    second = unknowns.of_piece[unknowns.last_piece[before]]
    return Rows(first, second, np.zeros(len(first)), weight)


class Melody(NamedTuple):
    """Every two notes that follow each other in a single line."""

    earlier: Ints
    later: Ints
    rise: Ints  # [semitones]

    def where(self, keep: NDArray[np.bool_]) -> Melody:
        """The rows marked True."""
        return Melody(self.earlier[keep], self.later[keep], self.rise[keep])


def melody(score: Score) -> Melody:
    """The single lines of all parts.

    From one note of a part to the next, where the part strikes one note at a time (`CHORD_SHARE`) and rests for less
    than two quarters.
    """
    notes = score.notes
    pitched = np.flatnonzero(score.pitched)
    order = pitched[np.lexsort((notes["onset_tick"][pitched], notes["part"][pitched]))]
    part, onset = notes["part"][order], notes["onset_tick"][order].astype(np.int64)
    length = notes["release_tick"][order] - onset
    together = (part[1:] == part[:-1]) & (np.diff(onset) <= CHORD_SHARE * np.minimum(length[1:], length[:-1]))
    alone = ~(np.append(together, False) | np.append(False, together))[: len(order)]
    before, after = order[:-1], order[1:]
    gap = notes["onset_tick"][after] - notes["release_tick"][before]
    near = (part[1:] == part[:-1]) & alone[:-1] & alone[1:]
    near &= gap < STRIDE_GAP_QUARTERS * score.clock.ticks_per_quarter
    before, after = before[near], after[near]
    return Melody(before, after, notes["key"][after].astype(np.int64) - notes["key"][before])


def stride_rows(line: Melody, unknowns: Unknowns, weights: Weights) -> tuple[Rows, Rows]:
    """Melodic steps stay what is heard as a semitone or a whole tone: rows against too wide and too narrow."""
    steps = line.where(among(np.abs(line.rise), (1, 2)))
    upper, lower, size = _upper_and_lower(steps, unknowns)
    narrowest, widest = (np.array(limits)[size - 1] for limits in zip(*STRIDES, strict=True))
    weight = np.full(len(size), weights.stride)
    return (
        Rows(upper, lower, widest - 100.0 * size, weight, one_sided=True),
        Rows(lower, upper, 100.0 * size - narrowest, weight, one_sided=True),
    )


def leap_rows(line: Melody, unknowns: Unknowns, weights: Weights, prime_limit: int) -> Rows:
    """Melodic fourths, fifths and octaves are pure: a line, above all a bass, is heard to leap by them.

    Where chords share no tone, these alone say how far their roots lie apart.
    """
    leaps = line.where(among(np.abs(line.rise), LEAPS))
    upper, lower, size = _upper_and_lower(leaps, unknowns)
    target = consonant_deviations(prime_limit)[size % 12]
    return Rows(upper, lower, target, np.full(len(size), weights.leap))


def _upper_and_lower(line: Melody, unknowns: Unknowns) -> tuple[Ints, Ints, Ints]:
    """Unknowns of the upper and the lower note of melodic intervals, and their sizes [semitones]."""
    earlier = unknowns.of_piece[unknowns.last_piece[line.earlier]]
    later = unknowns.of_piece[unknowns.first_piece[line.later]]
    up = line.rise > 0
    return np.where(up, later, earlier), np.where(up, earlier, later), np.abs(line.rise)


def held_rows(harmony: Harmony, unknowns: Unknowns, weights: Weights) -> Rows:
    """A note that sounds on into the next window stays where it is, if it is allowed to move at all.

    One that becomes a suspension there, and a pedal all the time, stays firmly.
    """
    note, role = harmony.pieces["note"], harmony.pieces["role"]
    joined = np.flatnonzero((note[1:] == note[:-1]) & (unknowns.of_piece[1:] != unknowns.of_piece[:-1]))
    first, second = unknowns.of_piece[joined + 1], unknowns.of_piece[joined]
    pedal = np.zeros(len(unknowns.first_piece), dtype=bool)
    pedal[note[role == Role.PEDAL]] = True
    firm = (role[joined + 1] == Role.SUSPENSION) | pedal[note[joined]]
    return Rows(first, second, np.zeros(len(joined)), np.where(firm, weights.prepared, weights.held))

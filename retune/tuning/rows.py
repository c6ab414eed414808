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
    weight: Floats  # of what lies above the target
    under: Floats  # of what lies below it


def _even(first: Ints, second: Ints, target: Floats, weight: Floats) -> Rows:
    """Rows on which what lies above the target counts as much as what lies below."""
    return Rows(first, second, target, weight, weight)


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
    """What can sound together, whole notes or pieces of notes that are cut: one for each offset unknown, by start."""

    unknown: Ints
    note: Ints
    window: Ints
    start: Ints
    release: Ints
    end: Ints


def _spans(score: Score, harmony: Harmony, unknowns: Unknowns) -> _Spans:
    pieces = harmony.pieces
    order = pieces["start_tick"][unknowns.first].argsort(kind="stable")
    first = unknowns.first[order]
    last = np.append(unknowns.first[1:], len(pieces))[order] - 1
    note, end = pieces["note"][first], pieces["end_tick"][last]
    release = np.minimum(score.notes["release_tick"][note], end)
    return _Spans(order, note, pieces["window"][first], pieces["start_tick"][first], release, end)


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
    count = np.maximum(start.searchsorted(end) - index - 1, 0)
    left_out = np.zeros_like(count)
    if int(count.sum()) > PARTNERS_PER_NOTE * len(start) + 10_000:
        left_out = np.maximum(count - PARTNERS_IN_A_CROWD, 0)
        count -= left_out
    earlier = index.repeat(count)
    # The partners of each span follow it; their rows begin where those of the spans before end.
    later = np.arange(len(earlier)) + (index + 1 + count - count.cumsum()).repeat(count)
    return Overlaps(earlier, later, left_out)


def pair_rows(
    score: Score, harmony: Harmony, ratios: Ratios, unknowns: Unknowns, weights: Weights, prime_limit: int
) -> Pairs:
    """Every consonant interval that sounds, with its pure size in the window where it begins."""
    spans = _spans(score, harmony, unknowns)
    a, b, left_out = overlapping(spans.start, spans.end)
    heard, crowded = len(a), left_out.nonzero()[0]
    key = score.notes["key"].astype(np.int64)[spans.note]
    start = spans.start[b]
    sounding = np.minimum(spans.end[a], spans.end[b]) - start
    written = np.maximum(np.minimum(spans.release[a], spans.release[b]) - start, 0)
    quarters = (written + weights.ringing * (sounding - written)) / score.clock.ticks_per_quarter
    pure = consonant_deviations(prime_limit)
    keep = (~np.isnan(pure)[(key[b] - key[a]) % 12] & (quarters > 0)).nonzero()[0]
    a, b, start, quarters = a[keep], b[keep], start[keep], quarters[keep]
    # The class seen from the lower of the two notes, so that octaves and inversions keep their sign.
    swap = key[b] < key[a]
    upper, lower = np.where(swap, a, b), np.where(swap, b, a)
    interval = (key[upper] - key[lower]) % 12
    window = spans.window[b]
    target = pure[interval]
    _obey_tables(target, harmony, ratios, key[upper], key[lower], window, prime_limit)
    weight = weights.pair * quarters * _insistence(ratios, weights, window)
    weight *= np.where(interval == 0, weights.octave, 1.0)
    return Pairs(
        _even(spans.unknown[upper], spans.unknown[lower], target, weight),
        spans.note[upper],
        spans.note[lower],
        window,
        start,
        heard=heard,
        left_out=int(left_out.sum()),
        left_out_from=int(spans.start[crowded[0]]) if len(crowded) else -1,
    )


def _obey_tables(
    target: Floats,
    harmony: Harmony,
    ratios: Ratios,
    upper: Ints,
    lower: Ints,
    window: Ints,
    prime_limit: int,
) -> None:
    """Put the window's own ratios for the pure consonance where they are of a kind that has others.

    Up to prime limit 5 a table differs from the pure consonances only where not all of them can be had at once,
    as in a diminished seventh: which of them gives way the whole piece decides. Higher limits have more than one
    kind of third, and the user may want what they like: there both notes being chord tones the table is obeyed. So it
    is in augmented sixths, where what sounds like a third need be none: E♭–F♯.
    """
    obeyed = among(harmony.windows["chord"], AUGMENTED_SIXTH_INDICES) | (prime_limit > 5)
    if ratios.insisted is not None:
        obeyed |= ratios.insisted
    at = obeyed[window].nonzero()[0]
    if not len(at):
        return
    window = window[at]
    root = harmony.windows["root_pc"].astype(np.int64)[window]
    members = harmony.windows["members"].astype(np.int64)[window]
    above, below = (upper[at] - root) % 12, (lower[at] - root) % 12
    chordal = ((members >> above) & (members >> below) & 1).astype(bool)
    deviation = ratios.deviations
    own = deviation[window, above] - deviation[window, below]
    target[at[chordal]] = own[chordal]


def _insistence(ratios: Ratios, weights: Weights, window: Ints) -> Floats | float:
    """Factor on the weight of intervals in each window: what the user asks for goes before what was found."""
    return 1.0 if ratios.insisted is None else np.where(ratios.insisted[window], weights.insisted, 1.0)


def frame_rows(
    score: Score, harmony: Harmony, ratios: Ratios, unknowns: Unknowns, weights: Weights, deviation: Floats
) -> Rows:
    """Every piece against its window's root: tunes broken chords, and notes that sound alone.

    `deviation` is (n_pieces,) from `piece_deviations`.
    """
    pieces = harmony.pieces
    length = (pieces["end_tick"] - pieces["start_tick"]) / score.clock.ticks_per_quarter
    chordal = pieces["role"] == Role.CHORD
    weight = np.where(chordal, weights.frame, weights.frame_foreign) * length.clip(0.05, 8.0)
    weight *= _insistence(ratios, weights, pieces["window"])
    return _even(unknowns.of_piece, unknowns.offsets + pieces["window"], deviation, weight)


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
    lasting = score.pitched & (notes["release_tick"] > notes["onset_tick"])
    order = np.lexsort((notes["key"], notes["part"]))  # they are in order of time
    order = order[lasting[order]]
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
    shorter = np.minimum(length[earlier], length[later]).clip(0.1, 8.0)
    weight = (
        weights.repeat * np.sqrt(shorter) * np.maximum(1.0 - gap / REPEAT_FADING_QUARTERS, weights.far_repeat)
    )
    weight[among(harmony.pieces["role"][unknowns.piece_of[later]], PREPARED)] = weights.prepared
    return _even(unknowns.at_start(later), unknowns.at_end(earlier), np.zeros(len(later)), weight)


def by_part(score: Score) -> Ints:
    """(n_pitched,) the pitched notes of one part after the other, in order of time."""
    order = score.notes["part"].argsort(kind="stable")
    return order[score.pitched[order]]


def step_rows(score: Score, harmony: Harmony, unknowns: Unknowns, weights: Weights, order: Ints) -> Rows:
    """Passing and neighbour notes lie at an even step from the notes they move between.

    `order` is that of `by_part`.
    """
    notes, pieces = score.notes, harmony.pieces
    is_moving = np.zeros(len(notes), dtype=bool)
    is_moving[pieces["note"][among(pieces["role"], (Role.PASSING, Role.NEIGHBOUR, Role.ANTICIPATION))]] = True
    # Each with the next two, so that a step is found in parts of two voices.
    before, after = np.concatenate([order[:-1], order[:-2]]), np.concatenate([order[1:], order[2:]])
    near = is_moving[before] | is_moving[after]
    before, after = before[near], after[near]
    apart = np.abs(notes["key"][after] - notes["key"][before])
    gap = notes["onset_tick"][after] - notes["release_tick"][before]
    near = (notes["part"][before] == notes["part"][after]) & (apart >= 1) & (apart <= 2)
    near &= np.abs(gap) < score.clock.ticks_per_quarter
    before, after = before[near], after[near]
    length = (notes["release_tick"] - notes["onset_tick"]) / score.clock.ticks_per_quarter
    weight = weights.step * np.minimum(length[before], length[after]).clip(0.05, 2.0)
    return _even(unknowns.at_start(after), unknowns.at_end(before), np.zeros(len(after)), weight)


class Melody(NamedTuple):
    """The intervals between every two notes that follow each other in a single line."""

    upper: Ints  # unknown of the upper note
    lower: Ints  # unknown of the lower note
    size: Ints  # [semitones]


def melody(score: Score, unknowns: Unknowns, order: Ints) -> Melody:
    """The single lines of all parts; `order` is that of `by_part`.

    From one note of a part to the next, where the part strikes one note at a time (`CHORD_SHARE`) and rests for less
    than two quarters.
    """
    part, key, onset, release = (
        score.notes[column][order] for column in ("part", "key", "onset_tick", "release_tick")
    )
    length = release - onset
    same = part[1:] == part[:-1]
    together = same & (onset[1:] - onset[:-1] <= CHORD_SHARE * np.minimum(length[1:], length[:-1]))
    alone = np.ones(len(order), dtype=bool)
    alone[1:][together] = alone[:-1][together] = False
    near = same & alone[:-1] & alone[1:]
    near &= onset[1:] - release[:-1] < STRIDE_GAP_QUARTERS * score.clock.ticks_per_quarter
    at = near.nonzero()[0]
    earlier, later = unknowns.at_end(order[at]), unknowns.at_start(order[at + 1])
    rise = key[at + 1] - key[at]
    return Melody(np.where(rise > 0, later, earlier), np.where(rise > 0, earlier, later), np.abs(rise))


def stride_rows(line: Melody, weights: Weights) -> tuple[Rows, Rows]:
    """Melodic steps stay what is heard as a semitone or a whole tone: rows against too wide and too narrow."""
    steps = among(line.size, (1, 2))
    upper, lower, size = line.upper[steps], line.lower[steps], line.size[steps]
    narrowest, widest = np.array(STRIDES)[size - 1].T
    weight, nothing = np.full(len(size), weights.stride), np.zeros(len(size))
    return (
        Rows(upper, lower, widest - 100.0 * size, weight, nothing),
        Rows(lower, upper, 100.0 * size - narrowest, weight, nothing),
    )


def leap_rows(line: Melody, weights: Weights, prime_limit: int) -> Rows:
    """Melodic fourths, fifths and octaves are pure: a line, above all a bass, is heard to leap by them.

    Where chords share no tone, these alone say how far their roots lie apart.
    """
    leaps = among(line.size, LEAPS)
    target = consonant_deviations(prime_limit)[line.size[leaps] % 12]
    return _even(line.upper[leaps], line.lower[leaps], target, np.full(len(target), weights.leap))


def held_rows(harmony: Harmony, unknowns: Unknowns, weights: Weights) -> Rows:
    """A note that sounds on into the next window stays where it is, if it is allowed to move at all.

    One that becomes a suspension there, and a pedal all the time, stays firmly.
    """
    note, role = harmony.pieces["note"], harmony.pieces["role"]
    later = unknowns.first[1:]
    later = later[note[later] == note[later - 1]]
    pedal = np.zeros(len(unknowns.hold_limit), dtype=bool)
    pedal[note[role == Role.PEDAL]] = True
    firm = (role[later] == Role.SUSPENSION) | pedal[note[later]]
    first = unknowns.of_piece[later]
    return _even(first, first - 1, np.zeros(len(later)), np.where(firm, weights.prepared, weights.held))

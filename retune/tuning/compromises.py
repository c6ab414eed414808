"""Where the comma goes: every place where purity gave way, with the reason in a musician's words."""

from __future__ import annotations

from dataclasses import dataclass
from math import gcd

import numpy as np
from numpy.typing import NDArray

from retune.harmony.model import Harmony
from retune.harmony.spelling import chord_label, spell_in_chord
from retune.options import Options
from retune.ratios.model import Ratios
from retune.score.model import Score
from retune.tuning.model import Compromise, Tuning
from retune.tuning.partners import fixed_parts
from retune.tuning.presets import weights_for
from retune.tuning.rows import CONSONANCES, Pairs, consonant_deviations, pair_rows, repeats
from retune.tuning.unknowns import Unknowns

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

WORTH_TELLING_CENTS = 2.0
"""Deviations up to this are no compromise: inaudible as pitch, at most a slow beat (judgement from the
thresholds in docs/tuning.md)."""

AT_THE_LIMIT_CENTS = (
    0.05  # a root this near to its limit is stopped by it (the solver keeps a margin of 0.0125)
)

_INTERVALS = {
    0: "octave",
    3: "minor third",
    4: "major third",
    5: "fourth",
    7: "fifth",
    8: "minor sixth",
    9: "major sixth",
}


@dataclass(frozen=True, slots=True)
class _Context:
    score: Score
    harmony: Harmony
    tuning: Tuning
    offset: Floats  # (n_notes,) first offset of each note
    fixed: frozenset[int]
    ratios: Ratios
    drift_limit: Floats  # (n_windows,)
    repeats_of: dict[int, int]  # note -> the note it repeats


def find_compromises(
    score: Score,
    harmony: Harmony,
    ratios: Ratios,
    tuning: Tuning,
    options: Options,
    *,
    limits: tuple[Floats, Floats] | None = None,
) -> tuple[Compromise, ...]:
    """The places where a consonant interval is more than `WORTH_TELLING_CENTS` from pure, in order of time.

    One per window and interval: the pair that sounds longest stands for its doublings.
    """
    pairs = _whole_note_pairs(score, harmony, ratios, options)
    offset = _offset_at(tuning, len(score.notes), pairs)
    key = score.notes["key"].astype(np.int64)
    interval = (key[pairs.upper_note] - key[pairs.lower_note]) % 12
    cents = offset[0] - offset[1] - consonant_deviations(options.prime_limit)[interval]
    cents = np.where(np.isnan(cents), 0.0, cents)
    off_target = np.abs(offset[0] - offset[1] - pairs.rows.target) > WORTH_TELLING_CENTS
    impure = (np.abs(cents) > WORTH_TELLING_CENTS) & (options.prime_limit <= 5)
    marked = np.flatnonzero(off_target | impure)
    marked = marked[np.argsort(-pairs.rows.weight[marked], kind="stable")]
    classes = np.minimum(key[pairs.upper_note] % 12, key[pairs.lower_note] % 12)
    _, first = np.unique(
        np.stack([pairs.window[marked], interval[marked], classes[marked]]), axis=1, return_index=True
    )
    chosen = marked[first]
    chosen = chosen[np.lexsort((pairs.lower_note[chosen], pairs.start_tick[chosen]))]
    context = _context(score, harmony, ratios, tuning, options, limits)
    miss = np.where(off_target, offset[0] - offset[1] - pairs.rows.target, cents)
    return tuple(
        _compromise(context, pairs, int(i), int(interval[i]), float(miss[i]), bool(off_target[i]))
        for i in chosen
    )


def _whole_note_pairs(score: Score, harmony: Harmony, ratios: Ratios, options: Options) -> Pairs:
    """All sounding pairs, every piece of a note standing for itself."""
    pieces = harmony.pieces
    note = pieces["note"]
    first = np.full(len(score.notes), -1, dtype=np.int64)
    first[note[::-1]] = np.arange(len(note))[::-1]
    last = np.full(len(score.notes), -1, dtype=np.int64)
    last[note] = np.arange(len(note))
    crossing = np.flatnonzero(np.bincount(note, minlength=len(score.notes)) > 1)
    by_piece = Unknowns(
        of_piece=np.arange(len(note)),
        offsets=len(note),
        windows=len(harmony.windows),
        cut_notes=crossing,
        limited=crossing[:0],
        first_piece=first,
        last_piece=last,
    )
    return pair_rows(score, harmony, ratios, by_piece, weights_for(options), options.prime_limit)


def _offset_at(tuning: Tuning, notes: int, pairs: Pairs) -> tuple[Floats, Floats]:
    """Offsets of the upper and lower note of each pair when the pair begins to sound [cents]."""
    rows = tuning.offsets
    span = int(rows["end_tick"].max(initial=0)) + 1
    place = rows["note"] * span + rows["start_tick"]

    def at(note: Ints) -> Floats:
        found = np.searchsorted(place, note * span + pairs.start_tick, side="right") - 1
        result: Floats = rows["offset_cents"][np.maximum(found, 0)]
        return result

    return at(pairs.upper_note), at(pairs.lower_note)


def _context(
    score: Score,
    harmony: Harmony,
    ratios: Ratios,
    tuning: Tuning,
    options: Options,
    limits: tuple[Floats, Floats] | None,
) -> _Context:
    offset = np.zeros(len(score.notes))
    offset[tuning.offsets["note"][::-1]] = tuning.offsets["offset_cents"][::-1]
    earlier, later, _ = repeats(score)
    return _Context(
        score=score,
        harmony=harmony,
        tuning=tuning,
        offset=offset,
        fixed=frozenset(fixed_parts(options.fixed, score.parts)),
        ratios=ratios,
        drift_limit=limits[0] if limits else np.full(len(harmony.windows), options.drift_limit_cents),
        repeats_of=dict(zip(later.tolist(), earlier.tolist(), strict=True)),
    )


def _compromise(
    c: _Context, pairs: Pairs, i: int, interval: int, cents: float, off_target: bool
) -> Compromise:
    upper, lower = int(pairs.upper_note[i]), int(pairs.lower_note[i])
    window, tick = int(pairs.window[i]), int(pairs.start_tick[i])
    names = [_spelled(c, note, window) for note in (lower, upper)]
    size = f"the {_INTERVALS[interval]} {names[0]}–{names[1]} is {abs(cents):.1f} cents {_wide(cents)}"
    size += _wanted_ratio(c, lower, upper, window, interval)
    if off_target:
        reason = f"{size}: {_reason(c, (lower, upper), names, window, cents)}"
    else:
        chord = _label(c, window)
        reason = (
            f"{size}: no ratios make every interval of {chord} pure, and this is where its chord leaves it"
        )
    return Compromise(tick=tick, notes=(lower, upper), window=window, cents=round(cents, 3), reason=reason)


def _wide(cents: float) -> str:
    return "wide" if cents > 0 else "narrow"


def _reason(c: _Context, notes: tuple[int, int], names: list[str], window: int, cents: float) -> str:
    """Why this pair could not be had: the first cause that applies, from the hardest to the softest."""
    chord = _label(c, window)
    # What each note would have to do for the interval to be pure: the lower moves up if it is too wide.
    for note, name, wanted in zip(notes, names, (cents, -cents), strict=True):
        part = c.score.parts[int(c.score.notes["part"][note])]
        if part.index in c.fixed:
            return f"{part.name} is fixed, and {chord} wants its {name} {_much(wanted)}"
    for note, name, wanted in zip(notes, names, (cents, -cents), strict=True):
        onset = int(c.score.notes["onset_tick"][note])
        if onset < int(c.harmony.windows["start_tick"][window]):
            origin = max(int(np.searchsorted(c.harmony.windows["start_tick"], onset, side="right")) - 1, 0)
            since = f"the {_label(c, origin)} chord of {c.score.where(onset)}"
            return f"{name} is held from {since}, but {chord} wants it {_much(wanted)}"
    limit_cents = float(c.drift_limit[window])
    if abs(float(c.tuning.displacement_cents[window])) > limit_cents - AT_THE_LIMIT_CENTS:
        limit = f"the drift limit of {limit_cents:g} cents"
        return f"{chord} would have to move past {limit} to agree with its neighbours"
    for note, name, wanted in zip(notes, names, (cents, -cents), strict=True):
        earlier = c.repeats_of.get(note)
        if earlier is not None and abs(c.offset[earlier] - c.offset[note]) < 0.5:
            where = c.score.where(int(c.score.notes["onset_tick"][earlier]))
            return f"{name} repeats the {name} of {where}, but {chord} wants it {_much(wanted)}"
    return f"not every interval that sounds with {chord} can be pure at once, and this one is heard least"


def _much(cents: float) -> str:
    if abs(abs(cents) - 21.506) < 0.5:
        return f"a comma {'higher' if cents > 0 else 'lower'}"
    return f"{abs(cents):.1f} cents {'higher' if cents > 0 else 'lower'}"


def _spelled(c: _Context, note: int, window: int) -> str:
    row = c.harmony.windows[window]
    pitch_class = int(c.score.notes["key"][note]) % 12
    return spell_in_chord(pitch_class, row, c.harmony.key_at(int(row["start_tick"])))


def _wanted_ratio(c: _Context, lower: int, upper: int, window: int, interval: int) -> str:
    """Say which ratio the window asks for where it is not the plain consonance."""
    row = c.harmony.windows[window]
    root, members = int(row["root_pc"]), int(row["members"])
    steps = [(int(c.score.notes["key"][note]) - root) % 12 for note in (lower, upper)]
    if not all(members >> step & 1 for step in steps):
        return ""
    pairs = c.ratios.tables[int(c.ratios.table_of_window[window])].pairs
    (n1, d1), (n2, d2) = pairs[steps[0]], pairs[steps[1]]
    numerator, denominator = n2 * d1, d2 * n1
    while numerator < denominator:
        numerator *= 2
    while numerator >= 2 * denominator:
        denominator *= 2
    shared = gcd(numerator, denominator)
    ratio = numerator // shared, denominator // shared
    return "" if ratio == CONSONANCES.get(interval, (1, 1)) else f" of {ratio[0]}/{ratio[1]}"


def _label(c: _Context, window: int) -> str:
    row = c.harmony.windows[window]
    return chord_label(row, c.harmony.key_at(int(row["start_tick"])))

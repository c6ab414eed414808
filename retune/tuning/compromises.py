"""Where the comma goes: every place where purity gave way, with the reason in a musician's words."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.harmony.model import Harmony
from retune.harmony.spelling import altered_interval
from retune.options import Options
from retune.ratios.consonances import SENARIO
from retune.ratios.intervals import reduced
from retune.ratios.model import Ratios
from retune.score.model import Score
from retune.tuning.model import Compromise, Tuning
from retune.tuning.presets import weights_for
from retune.tuning.reasons import Context, context, reason
from retune.tuning.rows import Pairs, consonant_deviations, pair_rows
from retune.tuning.unknowns import number_unknowns

Floats = NDArray[np.float64]

WORTH_TELLING_CENTS = 2.0
"""Deviations up to this are no compromise: inaudible as pitch, at most a slow beat (judgement from the
thresholds in docs/tuning.md)."""
SAME_CENTS = 1e-6  # sizes of one ratio, reckoned two ways, differ by less

_INTERVALS = {
    0: "octave",
    3: "minor third",
    4: "major third",
    5: "fourth",
    7: "fifth",
    8: "minor sixth",
    9: "major sixth",
}


def find_compromises(
    score: Score,
    harmony: Harmony,
    ratios: Ratios,
    tuning: Tuning,
    options: Options,
    *,
    limits: tuple[Floats, Floats] | None = None,
) -> tuple[Compromise, ...]:
    """The places where a consonant interval is more than `WORTH_TELLING_CENTS` from what is wished, in order of time.

    One per window and two notes of the scale: the pair that sounds longest stands for its doublings and inversions.
    `limits` are those that `solve_tuning` had, (n_windows,) each [cents].
    """
    pairs = _whole_note_pairs(score, harmony, ratios, options)
    upper, lower = (tuning.at(note, pairs.start_tick) for note in (pairs.upper_note, pairs.lower_note))
    key = score.notes["key"].astype(np.int64)
    interval = (key[pairs.upper_note] - key[pairs.lower_note]) % 12
    miss = upper - lower - pairs.rows.target
    plain = np.abs(pairs.rows.target - consonant_deviations(options.prime_limit)[interval]) < SAME_CENTS
    marked = np.flatnonzero(np.abs(miss) > WORTH_TELLING_CENTS)
    marked = marked[np.argsort(-pairs.rows.weight[marked], kind="stable")]
    classes = np.minimum(key[pairs.upper_note] % 12, key[pairs.lower_note] % 12)
    folded = np.minimum(interval, 12 - interval)
    _, first = np.unique(
        np.stack([pairs.window[marked], folded[marked], classes[marked]]), axis=1, return_index=True
    )
    chosen = marked[first]
    chosen = chosen[np.lexsort((pairs.lower_note[chosen], pairs.start_tick[chosen]))]
    c = context(score, harmony, ratios, tuning, options, limits[0] if limits else None)
    return tuple(
        _compromise(c, ratios, pairs, int(i), int(interval[i]), float(miss[i]), bool(plain[i]))
        for i in chosen
    )


def _whole_note_pairs(score: Score, harmony: Harmony, ratios: Ratios, options: Options) -> Pairs:
    """All sounding pairs, every piece of a note standing for itself."""
    by_piece = number_unknowns(score, harmony, np.full(len(harmony.windows), np.inf))
    return pair_rows(score, harmony, ratios, by_piece, weights_for(options), options.prime_limit)


def _compromise(
    c: Context, ratios: Ratios, pairs: Pairs, i: int, interval: int, cents: float, plain: bool
) -> Compromise:
    upper, lower = int(pairs.upper_note[i]), int(pairs.lower_note[i])
    window, tick = int(pairs.window[i]), int(pairs.start_tick[i])
    names = [c.spelled(note, window) for note in (lower, upper)]
    own = _own_ratio(c, ratios, lower, upper, window, interval)
    written = altered_interval(*names)
    as_written = f", written as {'an' if written[0] in 'aeiou' else 'a'} {written}," if written else ""
    size = f"the {_INTERVALS[interval]} {'–'.join(names)}{as_written} is {abs(cents):.1f} cents "
    if plain:
        size += "wide" if cents > 0 else "narrow"
    else:
        size += f"{'wider' if cents > 0 else 'narrower'} than {own}"
    if plain and own:
        why = f"no ratios make every interval of {c.label(window)} pure"
    else:
        why = reason(c, (lower, upper), window, tick, cents)
    return Compromise(
        tick=tick, notes=(lower, upper), window=window, cents=round(cents, 3), reason=f"{size}: {why}"
    )


def _own_ratio(c: Context, ratios: Ratios, lower: int, upper: int, window: int, interval: int) -> str:
    """The ratio a window's table has where it is not the plain consonance, else nothing."""
    row = c.harmony.windows[window]
    root, members = int(row["root_pc"]), int(row["members"])
    steps = [(int(c.score.notes["key"][note]) - root) % 12 for note in (lower, upper)]
    if not all(members >> step & 1 for step in steps):
        return ""
    pairs = ratios.tables[int(ratios.table_of_window[window])].pairs
    (n1, d1), (n2, d2) = pairs[steps[0]], pairs[steps[1]]
    ratio = reduced(n2 * d1, d2 * n1)
    return "" if ratio == SENARIO.get(interval) else f"{ratio[0]}/{ratio[1]}"

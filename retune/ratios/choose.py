"""Harmony → exact ratios of each window.

1. Chord tones come from the row of `retune.ratios.table` that holds for the chord type and prime limit.
2. Where no row names the chord, all assignments of candidate ratios to its tones are compared and the one of
   least total harmonic distance, the sum of log2(n·d) over all pairs, is taken.
3. Every other pitch class takes the ratio that agrees best with the chord tones (the same sum over its
   pairs with them).

Everything is integer arithmetic; each (chord, members, prime limit) is worked out once a process.
"""

from __future__ import annotations

from difflib import get_close_matches
from functools import cache
from math import log2, prod
from typing import TYPE_CHECKING

import numpy as np

from retune.arrays import numbered
from retune.errors import OptionError
from retune.harmony.vocabulary import CHORD_TYPES, INDEX_OF_SYMBOL
from retune.options import PRIME_LIMITS
from retune.ratios.intervals import Pair, candidates, complexity, reduced
from retune.ratios.model import Ratios, RatioTable
from retune.ratios.table import row_for
from retune.units import ratio_to_cents

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from retune.harmony.model import Harmony

EXACT_SEARCH_TONES = 6  # of larger sets without a name only so many are searched
_NO_CHORD = -1


def choose_ratios(
    harmony: Harmony,
    *,
    prime_limit: int = 5,
    for_chord: Mapping[str, RatioTable] = {},
    for_window: Mapping[int, RatioTable] = {},
) -> Ratios:
    """Choose exact ratios for every window.

    Parameters
    ----------
    harmony : Harmony
        Windows with chord types and members.
    prime_limit : int
        Largest prime allowed in the ratios: 3, 5, 7, 11 or 13.
    for_chord : mapping of chord symbol to RatioTable
        Tables that replace ours for every window of that chord type.
    for_window : mapping of window index to RatioTable
        Tables for single windows; they come before those of `for_chord`. Windows whose table
        differs from ours are marked in `Ratios.insisted`: to repeat ours insists on nothing.

    Raises
    ------
    OptionError
        Unknown prime limit, chord symbol or window.

    """
    if prime_limit not in PRIME_LIMITS:
        raise OptionError(f"prime limit: {prime_limit} is not one of {', '.join(map(str, PRIME_LIMITS))}")
    windows = harmony.windows
    own = {chord_index(symbol): table for symbol, table in for_chord.items()}
    keys = (windows["chord"].astype(np.int64) - _NO_CHORD) << 12 | windows["members"] & 0xFFF
    distinct, table_of_window = numbered(keys)
    tables = []
    insisted = []
    for key in distinct.tolist():
        chord, members = (key >> 12) + _NO_CHORD, key & 0xFFF
        ours = table_for(chord, members, prime_limit)
        tables.append(own.get(chord, ours))
        insisted.append(tables[-1] != ours)
    for window, table in for_window.items():
        if not 0 <= window < len(windows):
            raise OptionError(f"ratios of window {window}: there are only {len(windows)} windows")
        chord, members = int(windows["chord"][window]), int(windows["members"][window])
        table_of_window[window] = len(tables)
        tables.append(table)
        insisted.append(table != table_for(chord, members, prime_limit))
    return Ratios(
        tables=tuple(tables),
        table_of_window=table_of_window,
        insisted=np.array(insisted)[table_of_window] if own or for_window else None,
    )


def chord_index(symbol: str) -> int:
    """Index of a chord symbol in the vocabulary; OptionError with the nearest symbol if there is none."""
    if symbol in INDEX_OF_SYMBOL:
        return INDEX_OF_SYMBOL[symbol]
    close = get_close_matches(symbol, INDEX_OF_SYMBOL, n=1, cutoff=0.0)
    raise OptionError(f"chord {symbol!r} is not in the chord table; the nearest is {close[0]!r}")


@cache
def table_for(chord: int, members: int, prime_limit: int) -> RatioTable:
    """Work out the twelve ratios for a chord type (-1: none) and the pitch classes it has here.

    Members that the chord type does not have are placed first among the other pitch classes and count as
    chord tones for the rest.
    """
    steps = [step for step in range(12) if members >> step & 1]
    placed = {0: (1, 1)}
    if chord != _NO_CHORD:
        placed = chord_tones(chord, prime_limit)
        for step in steps:
            if step not in placed:
                placed[step] = _best_ratio(step, placed, prime_limit)
    elif steps:
        placed = least_distance(tuple(steps), prime_limit)
    return complete(placed, prime_limit)


@cache
def _chord_tones(chord: int, prime_limit: int) -> tuple[tuple[int, Pair], ...]:
    kind = CHORD_TYPES[chord]
    row = row_for(kind.symbol, prime_limit)
    if row is None:
        return tuple(least_distance(kind.intervals, prime_limit).items())
    return tuple(tones_of_integers(row.integers, kind.intervals).items())


def chord_tones(chord: int, prime_limit: int) -> dict[int, Pair]:
    """Semitone above the root → ratio, of the tones of a chord type, from its row or the general rule."""
    return dict(_chord_tones(chord, prime_limit))


def tones_of_integers(integers: str, steps: tuple[int, ...]) -> dict[int, Pair]:
    """Read "4:5:6" as semitone → ratio: each integer stands for the nearest of the chord's `steps`."""
    root, *others = (int(part) for part in integers.split(":"))
    tones = {0: (1, 1)}
    for number in others:
        pair = reduced(number, root)
        cents = ratio_to_cents(*pair)
        tones[min(steps, key=lambda step: abs(cents - 100.0 * step))] = pair
    return dict(sorted(tones.items()))


def least_distance(steps: tuple[int, ...], prime_limit: int) -> dict[int, Pair]:
    """Find the candidate ratios for `steps` (semitones above the root) of least total harmonic distance.

    Exact for up to six tones. Of larger sets the six that lie nearest the root on the circle of fifths are
    searched, and each of the others placed where it agrees best with those.
    """
    by_fifths = sorted({0, *steps}, key=lambda step: (min(step * 7 % 12, step * 5 % 12), step))
    searched = tuple(sorted(by_fifths[:EXACT_SEARCH_TONES]))
    placed = dict(zip(searched, _search(searched, prime_limit), strict=True))
    others = by_fifths[EXACT_SEARCH_TONES:]
    return placed | {step: _best_ratio(step, placed, prime_limit) for step in others}


def _search(steps: tuple[int, ...], prime_limit: int) -> list[Pair]:
    """Least sum of log2(n·d) over all pairs, by trying every assignment on one grid."""
    choices = [candidates(prime_limit)[step] for step in steps]
    total: NDArray[np.float64] = np.zeros([len(options) for options in choices])
    for lower in range(len(steps)):
        for upper in range(lower + 1, len(steps)):
            cost = np.array([[log2(complexity(a, b)) for b in choices[upper]] for a in choices[lower]])
            shape = [1] * len(steps)
            shape[lower], shape[upper] = cost.shape
            total = total + cost.reshape(shape)
    best = np.unravel_index(int(np.argmin(total.round(9))), total.shape)  # ties: the simplest first
    return [options[index] for options, index in zip(choices, best, strict=True)]


def complete(placed: Mapping[int, Pair], prime_limit: int) -> RatioTable:
    """Make a table of all twelve pitch classes around the ratios already `placed` (semitone → ratio)."""
    return RatioTable(tuple(placed.get(step) or _best_ratio(step, placed, prime_limit) for step in range(12)))


def _best_ratio(step: int, placed: Mapping[int, Pair], prime_limit: int) -> Pair:
    """Find the candidate of least summed log2(n·d) with the placed ratios."""
    lower = [other for at, other in placed.items() if at < step]
    upper = [other for at, other in placed.items() if at > step]
    options = candidates(prime_limit)[step]
    best, least = options[0], 0
    for pair in options:
        if least and pair[0] * pair[1] >= least:
            break  # the root alone makes this one, and all that follow, worse
        discord = prod([complexity(other, pair) for other in lower])
        discord *= prod([complexity(pair, other) for other in upper])
        if not least or discord < least:
            best, least = pair, discord
    return best

"""Which fixed temperaments, and on which notes, suit a piece best."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.check.measures.pairs import consonant_pairs, distance_from_pure
from retune.check.measures.tuned import equal_tempered
from retune.harmony.model import KEY_DTYPE
from retune.harmony.spelling import spell
from retune.ratios.consonances import USUAL_PRIME_LIMIT
from retune.tuning.temperaments import TEMPERAMENTS, temperament

if TYPE_CHECKING:
    from retune.score.model import Score

Floats = NDArray[np.float64]

C_MAJOR: np.void = np.zeros(1, dtype=KEY_DTYPE)[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedChoice:
    """A fixed temperament on the tonic that suits the piece best."""

    name: str  # "vallotti on D", as `temperament` reads it; "equal" has no tonic
    offsets: Floats  # (12,) [cents]
    mean_deviation_cents: float  # of the consonant pairs of the piece


def best_fixed(
    score: Score, *, key: np.void = C_MAJOR, temperaments: int = 2, prime_limit: int = USUAL_PRIME_LIMIT
) -> tuple[FixedChoice, ...]:
    """Equal temperament, the best-fitting temperaments, best first, and last the best just scale.

    Each is put on the tonic on which the consonant pairs of the piece are nearest to what is pure at the prime limit on
    average; where several are equally good, on the first of them from the tonic of the `key` upwards in fifths.
    It is a row of KEY_DTYPE, and spells the names.
    """
    ticks = consonance_ticks(score)
    best = {name: _best_tonic(name, ticks, key, prime_limit) for name in TEMPERAMENTS if name != "equal"}
    just = best.pop("just")
    equal = FixedChoice(
        name="equal",
        offsets=np.zeros(12),
        mean_deviation_cents=_mean_deviation(np.zeros(12), ticks, prime_limit),
    )
    others = sorted(best.values(), key=lambda choice: choice.mean_deviation_cents)[:temperaments]
    return (equal, *others, just)


def consonance_ticks(score: Score) -> Floats:
    """(12, 12) ticks that consonant pairs sound: pitch class of the lower note × interval class.

    All that a fixed tuning of twelve pitches needs to know about a piece.
    """
    notes = equal_tempered(score)
    pairs = consonant_pairs(notes)
    key = notes.key[notes.note]
    low = np.minimum(key[pairs.earlier], key[pairs.later])
    interval = np.abs(key[pairs.earlier] - key[pairs.later]) % 12
    table = np.bincount(low % 12 * 12 + interval, weights=pairs.length, minlength=144)
    return table.reshape(12, 12).astype(np.float64)


def _best_tonic(name: str, ticks: Floats, key: np.void, prime_limit: int) -> FixedChoice:
    tonics = [(int(key["tonic_pc"]) + 7 * fifths) % 12 for fifths in range(12)]
    patterns = [temperament(name, tonic_pc=tonic) for tonic in tonics]
    deviations = [_mean_deviation(offsets, ticks, prime_limit) for offsets in patterns]
    best = int(np.argmin(np.round(deviations, 9)))
    return FixedChoice(
        name=f"{name} on {spell(tonics[best], int(key['fifths']), minor=bool(key['minor']))}",
        offsets=patterns[best],
        mean_deviation_cents=deviations[best],
    )


def _mean_deviation(offsets: Floats, ticks: Floats, prime_limit: int) -> float:
    """Duration-weighted mean deviation of the consonant pairs under twelve offsets; 0 without a pair."""
    low, interval = np.divmod(np.arange(144), 12)
    size = offsets[(low + interval) % 12] - offsets[low]
    deviation = np.nan_to_num(distance_from_pure(size, interval, prime_limit)[0])
    total = ticks.sum()
    return float(deviation @ ticks.ravel() / total) if total else 0.0

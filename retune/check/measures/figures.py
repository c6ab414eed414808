"""How pure, how steady, how far from home: the figures of a tuning.

All are computed from key down to key up, without release tails and without percussion.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np

from retune.arrays import percentile
from retune.check.measures.lines import repeats
from retune.check.measures.pairs import Pairs, consonant_pairs
from retune.check.measures.tuned import TunedNotes, heard, tuned
from retune.check.receiver.sounding import FloatArray, Sounding
from retune.harmony.model import Harmony
from retune.ratios.consonances import USUAL_PRIME_LIMIT, pure_deviations
from retune.ratios.model import Ratios
from retune.score.model import Score
from retune.tuning.model import Tuning


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Figures of one tuning; None where the music has nothing to measure."""

    mean_deviation_cents: float | None
    """Consonant pairs: mean distance from pure, weighted by the time both notes sound."""
    share_within_1_cent: float | None
    """Share of the sounding time of all consonant pairs that lies within 1 cent of pure."""
    deviation_p95_cents: float | None
    """Distance from pure that 95 % of the sounding time does not exceed."""
    held_movement_max_cents: float | None
    """Largest distance between the highest and lowest pitch of one note while its key is down."""
    held_movement_p99_cents: float | None
    """The same distance at the 99th percentile of all notes."""
    repeat_shift_p95_cents: float | None
    """Shift of a note repeated within its part after less than two quarters, 95th percentile."""
    displacement_max_cents: float | None
    """Largest distance of a window's root from its equal-tempered pitch."""
    displacement_end_cents: float | None
    """Where the root of the last window sits, signed."""

    def as_dict(self) -> dict[str, float | None]:
        """Figures by name."""
        return asdict(self)


def figures(
    notes: TunedNotes,
    harmony: Harmony | None = None,
    *,
    ratios: Ratios | None = None,
    prime_limit: int = USUAL_PRIME_LIMIT,
    reference_cents: float = 0.0,
    pairs: Pairs | None = None,
) -> Figures:
    """Figures of notes with pitches.

    `harmony` is needed for the displacement (its notes must be numbered as those of `notes`); `ratios`
    sharpen it where a window's root does not sound; `prime_limit` says which ratios are pure; `reference_cents`
    [cents] is where the reference pitch lies from 440 Hz. `pairs` may be given if already found. Names that end in
    `_cents` are in cents, shares lie between 0 and 1; what cannot be measured is None.
    """
    found = consonant_pairs(notes, prime_limit) if pairs is None else pairs
    movement = held_movement(notes)
    shifts = repeats(notes).cents
    places = np.zeros(0) if harmony is None else displacement(notes, harmony, ratios) - reference_cents
    places = places[~np.isnan(places)]
    return Figures(
        mean_deviation_cents=found.mean(),
        share_within_1_cent=found.share_within(1.0),
        deviation_p95_cents=found.percentile(0.95),
        held_movement_max_cents=float(movement.max()) if len(movement) else None,
        held_movement_p99_cents=_percentile(movement, 99.0),
        repeat_shift_p95_cents=_percentile(shifts, 95.0) if len(shifts) or not len(movement) else 0.0,
        displacement_max_cents=float(np.abs(places).max()) if len(places) else None,
        displacement_end_cents=float(places[-1]) if len(places) else None,
    )


def figures_of_tuning(
    score: Score,
    harmony: Harmony | None,
    tuning: Tuning,
    *,
    prime_limit: int = USUAL_PRIME_LIMIT,
    reference_cents: float = 0.0,
) -> Figures:
    """Figures of a tuning before it is written: those of the pitches it gives, see `figures`."""
    return figures(tuned(score, tuning), harmony, prime_limit=prime_limit, reference_cents=reference_cents)


def figures_of_sounding(sounding: Sounding) -> Figures:
    """Figures of a decoded file by itself, without displacement."""
    return figures(heard(sounding))


def held_movement(notes: TunedNotes) -> FloatArray:
    """(n notes with rows,) cents between the highest and lowest pitch of each note."""
    first = notes.first_rows
    if not len(first):
        return np.zeros(0)
    result: FloatArray = np.maximum.reduceat(notes.cents, first) - np.minimum.reduceat(notes.cents, first)
    return result


def displacement(notes: TunedNotes, harmony: Harmony, ratios: Ratios | None = None) -> FloatArray:
    """(n_windows,) cents the root of each window lies from its equal-tempered pitch at A4 = 440 Hz.

    The root's own pitch where it sounds (mean over time, all octaves), else what the chord tones imply:
    their offset less what their ratio above the root adds. Without `ratios` the pure consonances are taken
    and other chord tones are left out. nan where neither sounds.
    """
    windows, pieces = harmony.windows, harmony.pieces
    window = pieces["window"]
    interval = (notes.key[pieces["note"]] - windows["root_pc"][window]) % 12
    chord_tone = (windows["members"][window] >> interval) & 1 > 0
    implied = (
        pure_deviations(USUAL_PRIME_LIMIT)[0, interval]
        if ratios is None
        else ratios.deviations[window, interval]
    )
    offset = notes.mean_between(pieces["note"], pieces["start_tick"], pieces["end_tick"])
    length = (pieces["end_tick"] - pieces["start_tick"]).astype(np.float64)
    result = np.full(len(windows), np.nan)
    for tones in (chord_tone & (interval != 0), interval == 0):  # the root overrules
        place = offset - np.where(interval == 0, 0.0, implied)
        good = tones & ~np.isnan(place) & (length > 0)
        weight = np.bincount(window[good], length[good], minlength=len(windows))
        total = np.bincount(window[good], (length * place)[good], minlength=len(windows))
        known = weight > 0
        result[known] = total[known] / weight[known]
    return result


def _percentile(values: FloatArray, q: float) -> float | None:
    return percentile(values, q) if len(values) else None

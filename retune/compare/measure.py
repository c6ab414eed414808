"""A piece under every tuning, measured side by side."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.check.measures.figures import displacement, figures
from retune.check.measures.pairs import consonant_pairs, per_bar
from retune.check.measures.tuned import tuned
from retune.compare.choose import best_fixed
from retune.compare.model import Comparison, TuningFigures
from retune.compare.sound import mean_beat_rate, mean_roughness
from retune.constants import A4_HZ
from retune.pipeline import tune
from retune.tuning.fixed import fixed_tuning, table_per_chord
from retune.tuning.presets import PRESETS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from retune.pipeline import Analysis
    from retune.score.model import Meters
    from retune.tuning.model import Tuning


def compare(analysis: Analysis) -> Comparison:
    """Measure a piece in equal temperament, fixed temperaments, a table per chord, and our presets.

    Every preset starts from the options of the analysis. Figures do not depend on the reference pitch; all
    are taken at A4 = 440 Hz. Raises `OptionError` for a fixed part or home that does not exist.
    """
    score, harmony = analysis.score, analysis.harmony
    edges = np.append(harmony.windows["start_tick"], harmony.windows["end_tick"][-1:])
    return Comparison(
        title=score.title,
        tunings=tuple(
            measure(analysis, tuning, name=name, kind=kind) for name, kind, tuning in _tunings(analysis)
        ),
        window_edges_bars=_in_bars(score.meters, edges),
    )


def _in_bars(meters: Meters, ticks: NDArray[np.int64]) -> NDArray[np.float64]:
    """Ticks as bars and parts of bars."""
    bars, beats = meters.bar_beat(ticks)
    meter = np.searchsorted(meters.change_ticks, ticks, side="right") - 1
    places: NDArray[np.float64] = bars + (beats - 1.0) / meters.numerator[meter]
    return places


def _tunings(analysis: Analysis) -> Iterator[tuple[str, str, Tuning]]:
    """(name, kind, tuning) of everything compared."""
    score, harmony, ratios = analysis.score, analysis.harmony, analysis.ratios
    fixed = best_fixed(score, key=harmony.main_key(), prime_limit=analysis.options.prime_limit)
    for choice in fixed:
        yield choice.name, "fixed", fixed_tuning(score, harmony, choice.offsets)
    yield "table-per-chord", "table", table_per_chord(score, harmony, ratios)
    base = replace(analysis.options, reference_hz=A4_HZ)
    for name, preset in PRESETS.items():
        yield name, "solved", tune(analysis, preset(base), explain=False)


def measure(analysis: Analysis, tuning: Tuning, *, name: str, kind: str) -> TuningFigures:
    """All figures of one tuning of an analysed piece: cents, shares from 0 to 1, beats a second [Hz]."""
    score, harmony, ratios = analysis.score, analysis.harmony, analysis.ratios
    notes = tuned(score, tuning)
    pairs = consonant_pairs(notes, analysis.options.prime_limit)
    bars, deviation = per_bar(pairs, score.meters)
    return TuningFigures(
        name=name,
        kind=kind,
        figures=figures(notes, harmony, ratios=ratios, pairs=pairs),
        beats_per_second=mean_beat_rate(notes, pairs),
        roughness=mean_roughness(notes),
        bars=bars,
        bar_deviation_cents=deviation,
        displacement_cents=displacement(notes, harmony, ratios),
    )

"""The music and its tunings as plain numbers for the page: columns of integers, short names.

Offsets are written as whole thousandths of a cent; a chorale takes some 20 kB, a song of four minutes a few
hundred.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import isfinite
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from retune.harmony.model import keys_at
from retune.harmony.spelling import FIFTHS_ABOVE_ROOT, MOST_SIGNS, OTHER_FIFTHS, spell
from retune.harmony.vocabulary import CHORD_TYPES
from retune.page.words import plan_name, temperament_words
from retune.ratios.choose import table_for
from retune.ratios.intervals import candidates
from retune.score.model import REACH
from retune.settings import as_arguments
from retune.tuning.partners import fixed_parts
from retune.wording import plain

if TYPE_CHECKING:
    from retune.harmony.model import Harmony
    from retune.pipeline import Analysis
    from retune.plan.model import Plan
    from retune.ratios.model import RatioTable
    from retune.score.model import Score
    from retune.tuning.model import Compromise, Tuning

DATA_FORMAT = 1
MILLI = 1000.0
USUAL_RATIOS = 6  # suggestions for a tone of a chord
SAME_CENTS = 1e-4  # offsets nearer than this are one offset (the grid of solved tunings)


def music_data(
    analysis: Analysis, tuning: Tuning, title: str, others: Mapping[str, Tuning]
) -> dict[str, Any]:
    """Return everything the page's programs need, as values for JSON."""
    score, options = analysis.score, analysis.options
    tables, numbers = _tables(analysis)
    fixed = fixed_parts(options, score.parts)
    return {
        "format": DATA_FORMAT,
        "source": title,
        "plan_name": plan_name(title),
        "reference_hz": options.reference_hz,
        "drift_limit": _limit(options.drift_limit_cents),
        "clock": _clock(score),
        "meters": _meters(score),
        "end_tick": int(score.end_tick),
        "parts": [
            {"name": plain(part.name), "percussion": part.is_percussion, "fixed": part.index in fixed}
            for part in score.parts
        ],
        "notes": _notes(score),
        "windows": _windows(analysis.harmony, tuning, numbers),
        "tables": tables,
        "chords": _chords(options.prime_limit, tables),
        "spellings": _spellings(analysis.harmony)[0],
        "chord_spelling": {
            "fifths_above_root": FIFTHS_ABOVE_ROOT,
            "other_fifths": OTHER_FIFTHS,
            "most_signs": MOST_SIGNS,
            "plain": [spell(pc, 0) for pc in range(12)],
        },
        "usual_ratios": [row[:USUAL_RATIOS] for row in candidates(13)],
        "compromises": _places(tuning.compromises),
        "shifts": _places(tuning.shifts),
        "fixed_texts": list(options.fixed),
        "arguments": plain(as_arguments(replace(options, fixed=()))),  # what a plan does not say itself
        "sections": _sections(analysis.plan),
        "tunings": _tunings(analysis, tuning, others),
    }


def _places(places: Sequence[Compromise]) -> list[dict[str, Any]]:
    return [{"tick": int(place.tick), "notes": [int(note) for note in place.notes]} for place in places]


def _limit(cents: float) -> float | None:
    return cents if isfinite(cents) else None


def _clock(score: Score) -> dict[str, Any]:
    clock = score.clock
    return {
        "ticks_per_quarter": float(clock.ticks_per_quarter),
        "ticks": clock.change_ticks.tolist(),
        "seconds": clock.change_seconds.tolist(),
        "per_tick": clock.seconds_per_tick.tolist(),
    }


def _meters(score: Score) -> dict[str, Any]:
    meters = score.meters
    return {
        "ticks": meters.change_ticks.tolist(),
        "bars": meters.first_bar.tolist(),
        "numerator": meters.numerator.tolist(),
        "denominator": meters.denominator.tolist(),
        "reach": REACH,
    }


def _notes(score: Score) -> dict[str, list[int]]:
    """Return the notes as columns; onsets as steps from one note to the next."""
    notes = score.notes
    length = np.maximum(notes["sounding_end_tick"] - notes["onset_tick"], 0)
    return {
        "step": np.diff(notes["onset_tick"], prepend=0).tolist(),
        "length": length.tolist(),
        "key": notes["key"].tolist(),
        "velocity": notes["velocity"].tolist(),
        "part": notes["part"].tolist(),
    }


def _windows(harmony: Harmony, tuning: Tuning, table: list[int]) -> dict[str, Any]:
    windows = harmony.windows
    return {
        "start": windows["start_tick"].tolist(),
        "end": windows["end_tick"].tolist(),
        "root": windows["root_pc"].tolist(),
        "bass": windows["bass_pc"].tolist(),
        "chord": windows["chord"].tolist(),
        "members": windows["members"].tolist(),
        "table": table,
        "displacement": np.round(tuning.displacement_cents, 4).tolist(),
        "spelling": _spellings(harmony)[1],
    }


def _spellings(harmony: Harmony) -> tuple[list[list[str]], list[int]]:
    """Return the twelve names of each key's spelling, and which of them each window uses."""
    if not len(harmony.keys):
        return [[spell(pc, 0) for pc in range(12)]], [0] * len(harmony.windows)
    pairs = [(int(key["fifths"]), bool(key["minor"])) for key in harmony.keys]
    distinct = list(dict.fromkeys(pairs))
    names = [[spell(pc, fifths, minor=minor) for pc in range(12)] for fifths, minor in distinct]
    return names, [distinct.index(pairs[k]) for k in keys_at(harmony.keys, harmony.windows["start_tick"])]


def _tables(analysis: Analysis) -> tuple[list[list[tuple[int, int]]], list[int]]:
    """Return the distinct tables of ratios, and the one of each window."""
    tables = [list(table.pairs) for table in analysis.ratios.tables]
    return tables, analysis.ratios.table_of_window.tolist()


def _chords(prime_limit: int, tables: list[list[tuple[int, int]]]) -> list[dict[str, Any]]:
    """Return the chord types with the ratios each takes by itself; their tables are added to `tables`."""
    rows = []
    for index, chord in enumerate(CHORD_TYPES):
        table: RatioTable = table_for(index, chord.members, prime_limit)
        pairs = list(table.pairs)
        if pairs not in tables:
            tables.append(pairs)
        rows.append(
            {
                "symbol": chord.symbol,
                "name": chord.name,
                "intervals": chord.intervals,
                "table": tables.index(pairs),
            }
        )
    return rows


def _sections(plan: Plan | None) -> list[str]:
    """Return the sections of the plan this piece was tuned by, as rows of a plan file."""
    rows = []
    for section in plan.sections if plan else ():
        limits = {"drift_limit": section.drift_limit_cents, "hold_limit": section.hold_limit_cents}
        fields = [f'bars = "{section.first_bar}-{section.last_bar}"']
        for name, cents in limits.items():
            if cents is not None:
                fields.append(f"{name} = {cents:g}" if isfinite(cents) else f'{name} = "none"')
        rows.append("{" + ", ".join(fields) + "}")
    return rows


# --- tunings ---------------------------------------------------------------------------------------


def _tunings(analysis: Analysis, tuning: Tuning, others: Mapping[str, Tuning]) -> list[dict[str, Any]]:
    from retune.tuning.temperaments import TEMPERAMENTS, temperament

    score = analysis.score
    reference_hz = analysis.options.reference_hz
    entries = [
        _classes("original", "Original", "equal temperament, as the file is played", np.zeros(12)),
        _steps("retuned", "Retuned", "pure chords on steady lines", score, tuning.counted_from(reference_hz)),
    ]
    entries += [
        _by_class_or_step(f"other-{i}", plain(name), score, other.counted_from(reference_hz))
        for i, (name, other) in enumerate(others.items(), start=1)
    ]
    entries += [
        _classes(name, temperament_words(name), "a fixed temperament", temperament(name))
        for name in TEMPERAMENTS
        if name != "equal"
    ]
    key = analysis.harmony.main_key()
    if key["tonic_pc"]:
        name = f"just on {spell(int(key['tonic_pc']), int(key['fifths']), minor=bool(key['minor']))}"
        entries.append(
            _classes("just-tonic", temperament_words(name), "a fixed temperament", temperament(name))
        )
    return entries


def _classes(
    identity: str, name: str, about: str, offsets: Sequence[float] | NDArray[np.float64]
) -> dict[str, Any]:
    classes = np.round(np.asarray(offsets, dtype=np.float64), 4).tolist()
    return {"id": identity, "name": name, "about": about, "classes": classes}


def _by_class_or_step(identity: str, name: str, score: Score, tuning: Tuning) -> dict[str, Any]:
    """Return a tuning as twelve offsets where that says it all, else note by note."""
    rows = tuning.offsets
    pitch_class = score.notes["key"][rows["note"]] % 12
    low, high = np.full(12, np.inf), np.full(12, -np.inf)
    np.minimum.at(low, pitch_class, rows["offset_cents"])
    np.maximum.at(high, pitch_class, rows["offset_cents"])
    heard = np.isfinite(low)
    if np.all(high[heard] - low[heard] < SAME_CENTS):
        return _classes(identity, name, "twelve fixed offsets", np.where(heard, low, 0.0))
    return _steps(identity, name, "note by note", score, tuning)


def _steps(identity: str, name: str, about: str, score: Score, tuning: Tuning) -> dict[str, Any]:
    """Return how many offsets each note takes, where those after its first begin, and all of them."""
    rows = tuning.offsets
    note = rows["note"]
    count = np.bincount(note, minlength=len(score.notes))
    later = np.zeros(len(rows), dtype=bool)
    later[1:] = note[1:] == note[:-1]
    begins = rows["start_tick"] - score.notes["onset_tick"][note]
    return {
        "id": identity,
        "name": name,
        "about": about,
        "count": count.tolist(),
        "later": begins[later].tolist(),
        "cents": np.rint(rows["offset_cents"] * MILLI).astype(np.int64).tolist(),
    }

"""The report of a conversion: everything a script or a person may want to know afterwards, as JSON-able values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from retune import __version__
from retune.errors import Remark
from retune.options import Options, option_values

if TYPE_CHECKING:
    from retune.check import CheckReport
    from retune.encode import EncodedFile
    from retune.harmony import Harmony
    from retune.score import Score
    from retune.tuning import Compromise, Tuning

FORMAT = 1
"""Raised with each change of the structure below."""


def conversion_report(
    score: Score,
    harmony: Harmony,
    tuning: Tuning,
    options: Options,
    *,
    files: Iterable[EncodedFile],
    checked: CheckReport,
    remarks: Iterable[Remark],
) -> dict[str, Any]:
    """Figures before and after, what was lost, where purity or a line gave way, and the options that led there.

    `tuning` has its compromises and shifts (`retune.pipeline.explained`).
    """
    return {
        "format": FORMAT,
        "retune": __version__,
        "title": score.title,
        "options": option_values(options),
        "notes": len(score.notes),
        "windows": len(harmony.windows),
        "files": [{"suffix": file.suffix, "bytes": len(file.data)} for file in files],
        "check": checked.as_json(),
        "compromises": place_values(tuning.compromises, score),
        "shifts": place_values(tuning.shifts, score),
        "remarks": [remark_values(remark) for remark in remarks],
    }


def place_values(places: Sequence[Compromise], score: Score) -> list[dict[str, Any]]:
    """Compromises or shifts as JSON-able values, one dictionary each (see docs/scripts.md)."""
    bars, beats = score.meters.bar_beat(np.array([found.tick for found in places], np.int64))
    return [
        {
            "where": score.where(found.tick),
            "bar": bar,
            "beat": round(beat, 6),
            "tick": found.tick,
            "window": found.window,
            "notes": list(found.notes),
            "cents": round(found.cents, 3),
            "reason": found.reason,
        }
        for found, bar, beat in zip(places, bars.tolist(), beats.tolist(), strict=True)
    ]


def remark_values(remark: Remark) -> dict[str, str]:
    """A remark as JSON-able values."""
    return asdict(remark)

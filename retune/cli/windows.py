"""An analysis as rows for people and as values for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from retune.report import place_values
from retune.rows import window_rows

if TYPE_CHECKING:
    from retune.pipeline import Analysis
    from retune.tuning import Tuning

FORMAT = 1
"""Number of the JSON's own format, raised when its structure changes."""


def analysis_values(analysis: Analysis, tuning: Tuning) -> dict[str, Any]:
    """Return the whole analysis as JSON-able values: windows, parts, compromises, shifts."""
    score = analysis.score
    return {
        "format": FORMAT,
        "title": score.title,
        "windows": window_rows(analysis, tuning),
        "parts": part_values(analysis),
        "compromises": place_values(tuning.compromises, score),
        "shifts": place_values(tuning.shifts, score),
        "remarks": [str(remark) for remark in all_remarks(analysis, tuning)],
    }


def part_values(analysis: Analysis) -> list[dict[str, Any]]:
    """Return one dictionary a part; numbers, channels and programs count as on an instrument's panel."""
    counts = np.bincount(analysis.score.notes["part"], minlength=len(analysis.score.parts)).tolist()
    return [
        {
            "number": part.index + 1,
            "name": part.name,
            "track": part.track + 1,
            "port": part.port,
            "channel": part.channel + 1,
            "program": part.program,
            "percussion": part.is_percussion,
            "notes": counts[part.index],
        }
        for part in analysis.score.parts
    ]


def all_remarks(analysis: Analysis, tuning: Tuning) -> tuple[Any, ...]:
    """Return what the stages had to say, in their order."""
    return (*analysis.score.remarks, *analysis.harmony.remarks, *tuning.remarks)

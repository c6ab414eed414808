"""The report of a conversion: everything a script or a person may want to know afterwards, as JSON-able values."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from retune import __version__
from retune.errors import Remark

if TYPE_CHECKING:
    from retune.options import Options
    from retune.pipeline import Analysis, Conversion
    from retune.tuning.model import Compromise

FORMAT = 1
"""Raised with each change of the structure below."""


def conversion_report(conversion: Conversion) -> dict[str, Any]:
    """Figures before and after, what was lost, where purity or a line gave way, and the options that led there."""
    analysis = conversion.analysis
    from retune.pipeline import explained

    tuning = explained(analysis, conversion.tuning)
    return {
        "format": FORMAT,
        "retune": __version__,
        "title": analysis.score.title,
        "options": option_values(analysis.options),
        "notes": len(analysis.score.notes),
        "windows": len(analysis.harmony.windows),
        "files": [{"suffix": file.suffix, "bytes": len(file.data)} for file in conversion.files],
        "check": conversion.checked.as_json(),
        "compromises": [_place_values(found, analysis) for found in tuning.compromises],
        "shifts": [_place_values(found, analysis) for found in tuning.shifts],
        "remarks": [remark_values(remark) for remark in conversion.remarks],
    }


def _place_values(found: Compromise, analysis: Analysis) -> dict[str, Any]:
    return {
        "where": analysis.score.where(found.tick),
        "tick": found.tick,
        "notes": list(found.notes),
        "cents": found.cents,
        "reason": found.reason,
    }


def option_values(options: Options) -> dict[str, Any]:
    """Options as JSON-able values; "none" where there is no limit."""
    return {
        name: "none" if isinstance(value, float) and math.isinf(value) else value
        for name, value in asdict(options).items()
    }


def remark_values(remark: Remark) -> dict[str, str]:
    """A remark as JSON-able values."""
    return asdict(remark)

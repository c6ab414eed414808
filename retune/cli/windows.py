"""An analysis as rows for people and as values for programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from retune.harmony.model import Role
from retune.harmony.spelling import chord_label
from retune.harmony.vocabulary import CHORD_TYPES
from retune.plan.apply import key_at

if TYPE_CHECKING:
    from retune.pipeline import Analysis
    from retune.ratios.model import RatioTable
    from retune.tuning import Tuning

FORMAT = 1
"""Number of the JSON's own format, raised when its structure changes."""


def analysis_values(analysis: Analysis, tuning: Tuning) -> dict[str, Any]:
    """Return the whole analysis as JSON-able values: windows, parts, keys, compromises."""
    score = analysis.score
    return {
        "format": FORMAT,
        "title": score.title,
        "windows": window_values(analysis, tuning),
        "parts": part_values(analysis),
        "compromises": [
            {
                **dict(zip(("bar", "beat"), _bar_beat(analysis, compromise.tick), strict=True)),
                "window": compromise.window,
                "cents": round(compromise.cents, 3),
                "reason": compromise.reason,
            }
            for compromise in tuning.compromises
        ],
        "remarks": [str(remark) for remark in all_remarks(analysis, tuning)],
    }


def window_values(analysis: Analysis, tuning: Tuning) -> list[dict[str, Any]]:
    """Return one dictionary a window; quarters and seconds count from the start of the file."""
    score, windows = analysis.score, analysis.harmony.windows
    starts, ends = windows["start_tick"], windows["end_tick"]
    bars, beats = score.meters.bar_beat(starts)
    columns: dict[str, list[Any]] = {
        "start_q": np.round(score.clock.quarters(starts), 6).tolist(),
        "end_q": np.round(score.clock.quarters(ends), 6).tolist(),
        "start_s": np.round(score.clock.seconds(starts), 6).tolist(),
        "end_s": np.round(score.clock.seconds(ends), 6).tolist(),
        "bar": bars.tolist(),
        "beat": np.round(beats, 6).tolist(),
        "root_pc": windows["root_pc"].tolist(),
        "chord": [CHORD_TYPES[i].symbol if i >= 0 else None for i in windows["chord"].tolist()],
        "bass_pc": windows["bass_pc"].tolist(),
        "label": labels(analysis),
        "ratios": _ratio_values(analysis),
        "displacement_cents": np.round(tuning.displacement_cents, 3).tolist(),
        "roles": _roles(analysis),
        "given": windows["given"].tolist(),
    }
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


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


def labels(analysis: Analysis) -> list[str]:
    """Return each window's harmony in lead-sheet form, spelled in its key."""
    harmony = analysis.harmony
    return [chord_label(window, key_at(harmony, int(window["start_tick"]))) for window in harmony.windows]


def ratio_texts(analysis: Analysis) -> list[str]:
    """Return each window's ratios of its chord tones, `1 5/4 3/2`."""
    return [" ".join(ratios.values()) for ratios in _ratio_values(analysis)]


def all_remarks(analysis: Analysis, tuning: Tuning) -> tuple[Any, ...]:
    """Return what the stages had to say, in their order."""
    return (*analysis.score.remarks, *analysis.harmony.remarks, *tuning.remarks)


def _ratio_values(analysis: Analysis) -> list[dict[str, str]]:
    """Return semitone above the root → ratio, of the chord tones of each window; equal ones share a value."""
    known: dict[tuple[int, int], dict[str, str]] = {}
    result = []
    tables, members = analysis.ratios.table_of_window.tolist(), analysis.harmony.windows["members"].tolist()
    for table, mask in zip(tables, members, strict=True):
        if (table, mask) not in known:
            known[table, mask] = _texts(analysis.ratios.tables[table], mask)
        result.append(known[table, mask])
    return result


def _texts(table: RatioTable, mask: int) -> dict[str, str]:
    return {
        str(step): str(n) if d == 1 else f"{n}/{d}"
        for step, (n, d) in enumerate(table.pairs)
        if step == 0 or mask >> step & 1
    }


def _roles(analysis: Analysis) -> list[dict[str, int]]:
    """Return how many non-chord tones of each kind a window has."""
    pieces = analysis.harmony.pieces
    counts = np.zeros((len(analysis.harmony.windows), len(Role)), dtype=np.int64)
    np.add.at(counts, (pieces["window"], pieces["role"]), 1)
    counts[:, Role.CHORD] = 0
    roles: list[dict[str, int]] = [{} for _ in counts]
    for window, role in np.argwhere(counts).tolist():
        roles[window][Role(role).name.lower()] = int(counts[window, role])
    return roles


def _bar_beat(analysis: Analysis, tick: int) -> tuple[int, float]:
    bar, beat = analysis.score.meters.bar_beat(tick)
    return int(bar), round(float(beat), 6)

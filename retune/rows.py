"""An analysis and its tuning as rows, ready for a data frame: a row a window, a row a note."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from retune.arrays import begins
from retune.errors import ArgumentError
from retune.harmony.model import Role
from retune.harmony.spelling import chord_label
from retune.harmony.vocabulary import CHORD_TYPES

if TYPE_CHECKING:
    from retune.pipeline import Analysis
    from retune.ratios.model import RatioTable
    from retune.tuning import Tuning

NOTE_ROW_DTYPE = np.dtype(
    [
        ("part", np.int64),  # number as on the command line, from 1
        ("key", np.int64),  # MIDI key 0-127
        ("velocity", np.int64),
        ("bar", np.int64),  # of the onset, from 1
        ("beat", np.float64),  # of the onset, 1.0 = the downbeat
        ("onset_tick", np.int64),
        ("release_tick", np.int64),
        ("onset_q", np.float64),  # quarters from the start of the file
        ("release_q", np.float64),
        ("onset_s", np.float64),  # seconds from the start of the file
        ("release_s", np.float64),
        ("window", np.int64),  # row of `window_rows` in which the note begins; -1 for percussion
        ("role", "U12"),  # what the note does in that window; "" for percussion
        (
            "offset_cents",
            np.float64,
        ),  # at the onset, from equal temperament at A4 = 440 Hz; nan for percussion
        ("movement_cents", np.float64),  # between its lowest and highest offset; nan for percussion
    ]
)
"""One row a note, in the order of `Score.notes`."""

_ROLES = np.array([role.name.lower() for role in Role])


def window_rows(analysis: Analysis, tuning: Tuning) -> list[dict[str, Any]]:
    """Return one dictionary a window: what `retune analyze --json` prints under `windows` (see docs/scripts.md).

    Quarters and seconds count from the start of the file; `ratios` and `roles` are dictionaries themselves.
    Raises `ArgumentError` for a tuning of another piece.
    """
    refuse_mismatch(analysis, tuning)
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
        "label": _labels(analysis),
        "ratios": _ratio_values(analysis),
        "displacement_cents": np.round(tuning.displacement_cents, 3).tolist(),
        "roles": _roles(analysis),
        "given": windows["given"].tolist(),
    }
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def note_rows(analysis: Analysis, tuning: Tuning) -> NDArray[np.void]:
    """Return one row a note, (n_notes,) of `NOTE_ROW_DTYPE`: ticks, quarters, seconds, offsets in cents.

    Raises `ArgumentError` for a tuning of another piece.
    """
    refuse_mismatch(analysis, tuning)
    score, notes = analysis.score, analysis.score.notes
    rows = np.zeros(len(notes), NOTE_ROW_DTYPE)
    rows["part"] = notes["part"] + 1
    for name in ("key", "velocity", "onset_tick", "release_tick"):
        rows[name] = notes[name]
    for name in ("onset", "release"):
        rows[f"{name}_q"] = score.clock.quarters(notes[f"{name}_tick"])
        rows[f"{name}_s"] = score.clock.seconds(notes[f"{name}_tick"])
    rows["bar"], rows["beat"] = score.meters.bar_beat(notes["onset_tick"])
    rows["window"], rows["offset_cents"], rows["movement_cents"] = -1, np.nan, np.nan
    pieces, offsets = analysis.harmony.pieces, tuning.offsets
    first = pieces[_firsts(pieces["note"])]
    rows["window"][first["note"]] = first["window"]
    rows["role"][first["note"]] = _ROLES[first["role"]]
    if len(offsets):
        at, cents = _firsts(offsets["note"]), offsets["offset_cents"]
        tuned = offsets["note"][at]
        rows["offset_cents"][tuned] = cents[at]
        rows["movement_cents"][tuned] = np.maximum.reduceat(cents, at) - np.minimum.reduceat(cents, at)
    return rows


def refuse_mismatch(analysis: Analysis, tuning: Tuning) -> None:
    """Raise `ArgumentError` for what is no analysis and no tuning, or a tuning of another piece."""
    from retune.pipeline import Analysis
    from retune.tuning import Tuning

    if not isinstance(analysis, Analysis) or not isinstance(tuning, Tuning):
        kinds = f"{type(analysis).__name__} and {type(tuning).__name__}"
        raise ArgumentError(f"an analysis and a tuning of it are wanted, in this order, not {kinds}")
    notes, windows = len(analysis.score.notes), len(analysis.harmony.windows)
    if len(tuning.displacement_cents) != windows or tuning.offsets["note"].max(initial=-1) >= notes:
        raise ArgumentError("the tuning is of another piece than the analysis; make it by tune(analysis)")


def _firsts(notes: NDArray[np.int64]) -> NDArray[np.int64]:
    """Where each run of equal note indices begins."""
    return np.flatnonzero(begins(notes))


def _labels(analysis: Analysis) -> list[str]:
    """Return each window's harmony in lead-sheet form, spelled in its key."""
    harmony = analysis.harmony
    return [chord_label(window, harmony.key_at(int(window["start_tick"]))) for window in harmony.windows]


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

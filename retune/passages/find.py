"""The fewest passages that one fixed table each can serve, by exact dynamic programming.

A table T serves a window if some displacement c of the window, inside the drift limit, puts every chord tone
within the tolerance of its ratio: |T[slot] − c − t| <= tolerance. Eliminating c leaves bounds on differences of
slots and on the slots themselves: a system of difference constraints, which has a solution exactly if its graph
has no negative cycle (R. Bellman, *Quart. Appl. Math.* 16, 1958, 87–90; from memory). A passage that can be
served can be served in any part, so the longest reach from every window says all there is to know.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from retune import wording
from retune.errors import OptionError
from retune.harmony.model import Harmony, Role
from retune.harmony.spelling import spell
from retune.options import MOST_LIMIT_CENTS
from retune.passages.model import Passage, Passages
from retune.ratios.model import Ratios
from retune.score.model import Score

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ROUNDING = 1e-9  # slack for sums of floating-point cents
TOLD_PLACES = 1  # of a cent, as the tables for people print it: what looks the same there is not tuned again


@dataclass(frozen=True, slots=True)
class _Wants:
    """What each window wants of each slot: (window, slot, cents above the window's displacement), no repeats."""

    window: Ints
    slot: Ints
    cents: Floats


def find_passages(
    score: Score,
    harmony: Harmony,
    ratios: Ratios,
    *,
    tolerance_cents: float = 5.0,
    drift_limit_cents: float | Floats = 15.0,
    by_part: bool = False,
) -> Passages:
    """The fewest passages, each with one table of twelve offsets, or with one offset a pitched part (`by_part`).

    No chord tone lies further than the tolerance [cents] from pure, no root further than the drift limit from equal
    temperament [cents, one or (n_windows,); an octave and more is none]. Among the ways with fewest passages the one
    that retunes fewest slots is taken.
    Raises `OptionError` if there is no pitched note, or the tolerance is not above 0, or is too small for a single
    window (a part that plays two chord tones in one window cannot serve both with one offset).
    """
    if not 0.0 < tolerance_cents <= MOST_LIMIT_CENTS:
        raise OptionError(
            f"tolerance: {tolerance_cents:g} is not a number of cents above 0, at most {MOST_LIMIT_CENTS:g}"
        )
    if not len(harmony.windows):
        raise OptionError("no pitched notes in this file, so there is nothing to tune to")
    parts = np.flatnonzero([not part.is_percussion for part in score.parts]) if by_part else None
    slots = _slot_names(score, harmony, parts)
    wants = _wants(score, harmony, ratios, parts)
    drift = np.broadcast_to(np.minimum(drift_limit_cents, MOST_LIMIT_CENTS), len(harmony.windows))
    boxes = _window_constraints(wants, drift, len(slots), tolerance_cents)
    reach = _reaches(boxes, score, harmony, tolerance_cents)
    cuts = _fewest(boxes, reach)
    return Passages(
        slots=slots,
        passages=_tables(score, harmony, wants, boxes, cuts),
        tolerance_cents=tolerance_cents,
    )


def _slot_names(score: Score, harmony: Harmony, parts: Ints | None) -> tuple[str, ...]:
    if parts is not None:
        return tuple(score.parts[part].name for part in parts)
    key = harmony.main_key()
    return tuple(spell(pc, int(key["fifths"]), minor=bool(key["minor"])) for pc in range(12))


def _wants(score: Score, harmony: Harmony, ratios: Ratios, parts: Ints | None) -> _Wants:
    pieces = harmony.pieces[harmony.pieces["role"] == Role.CHORD]
    key = score.notes["key"].astype(np.int64)[pieces["note"]]
    root = harmony.windows["root_pc"].astype(np.int64)[pieces["window"]]
    slot = key % 12 if parts is None else np.searchsorted(parts, score.notes["part"][pieces["note"]])
    rows = np.unique(np.stack([pieces["window"], slot, (key - root) % 12], axis=1), axis=0)
    window, slot, above = rows[:, 0], rows[:, 1], rows[:, 2]
    return _Wants(window, slot, ratios.deviations[window, above] if len(rows) else np.zeros(0))


def _window_constraints(wants: _Wants, drift: Floats, slots: int, tolerance: float) -> Floats:
    """(windows, slots + 1, slots + 1) largest allowed T[a] − T[b]; the last place stands for 0."""
    windows, size = len(drift), slots + 1
    boxes = np.full((windows, size, size), np.inf)
    boxes[:, np.arange(size), np.arange(size)] = 0.0
    starts = np.searchsorted(wants.window, np.arange(windows + 1))
    for k in range(windows):
        here = slice(starts[k], starts[k + 1])
        slot, cents = wants.slot[here], wants.cents[here]
        a, b = np.repeat(slot, len(slot)), np.tile(slot, len(slot))
        apart = np.repeat(cents, len(cents)) - np.tile(cents, len(cents)) + 2.0 * tolerance
        np.minimum.at(boxes[k], (a, b), apart)
        np.minimum.at(boxes[k], (slot, np.full(len(slot), slots)), cents + drift[k] + tolerance)
        np.minimum.at(boxes[k], (np.full(len(slot), slots), slot), -cents + drift[k] + tolerance)
    return boxes


def _closed(bound: Floats) -> Floats | None:
    """Shortest paths between all places (Floyd–Warshall), or None if there is a negative cycle."""
    closed = bound.copy()
    for k in range(len(closed)):
        np.minimum(closed, closed[:, k, None] + closed[None, k, :], out=closed)
    return None if (np.diag(closed) < -ROUNDING).any() else closed


def _reaches(boxes: Floats, score: Score, harmony: Harmony, tolerance: float) -> Ints:
    """(windows,) first window after each that a passage beginning there can no longer include."""
    count = len(boxes)
    reach = np.zeros(count, dtype=np.int64)
    for start in range(count):
        bound = _closed(boxes[start])
        if bound is None:
            where = score.where(int(harmony.windows["start_tick"][start]))
            near = wording.count(tolerance, "cent")
            raise OptionError(f"tolerance: no table comes within {near} of the chord at {where}; allow more")
        end = start + 1
        while end < count:
            wider = _closed(np.minimum(bound, boxes[end]))
            if wider is None:
                break
            bound, end = wider, end + 1
        reach[start] = end
    return reach


def _fewest(boxes: Floats, reach: Ints) -> list[int]:
    """Window indices where passages begin: fewest passages, and of those the fewest slots in use twice.

    Dynamic programming from the end: best[i] = (passages, slots tuned) from window i on.
    """
    count = len(reach)
    used = np.isfinite(boxes[:, -1, :-1])
    best: list[tuple[int, int]] = [(0, 0)] * (count + 1)
    choice = [0] * count
    for start in range(count - 1, -1, -1):
        options = []
        in_use = np.zeros(used.shape[1], dtype=bool)
        for end in range(start + 1, int(reach[start]) + 1):
            in_use |= used[end - 1]
            # A cut that leaves more passages for the rest can never win: only ends that save one matter.
            if best[end][0] == best[int(reach[start])][0]:
                options.append((best[end][0] + 1, best[end][1] + int(in_use.sum()), -end))
        passages, tuned, negative_end = min(options)
        best[start], choice[start] = (passages, tuned), -negative_end
    cuts, at = [], 0
    while at < count:
        cuts.append(at)
        at = choice[at]
    return cuts


def _tables(
    score: Score, harmony: Harmony, wants: _Wants, boxes: Floats, cuts: list[int]
) -> tuple[Passage, ...]:
    ends = [*cuts[1:], len(boxes)]
    tables = _filled([_table(boxes[first:end]) for first, end in zip(cuts, ends, strict=True)])
    passages = []
    for first, end, before, table in zip(cuts, ends, [tables[0], *tables], tables, strict=False):
        here = (wants.window >= first) & (wants.window < end)
        told = np.round(table, TOLD_PLACES) != np.round(before, TOLD_PLACES)
        passages.append(
            Passage(
                first_window=first,
                last_window=end - 1,
                start_tick=int(harmony.windows["start_tick"][first]),
                end_tick=int(harmony.windows["end_tick"][end - 1]),
                offsets_cents=tuple(float(c) for c in np.round(table, 2) + 0.0),
                retuned=tuple(int(s) for s in np.flatnonzero(told)),
                worst_cents=round(_worst(wants, here, table), 2) + 0.0,
            )
        )
    return tuple(passages)


def _filled(tables: list[Floats]) -> list[Floats]:
    """(slots,) tables without gaps: a slot keeps what it had, and begins with what it is first wanted for.

    A slot that no passage uses is 0.
    """
    own = np.array(tables)
    first = np.isfinite(own).argmax(axis=0)
    current = np.nan_to_num(own[first, np.arange(own.shape[1])])
    filled = []
    for table in own:
        current = np.where(np.isnan(table), current, table)
        filled.append(current)
    return filled


def _table(boxes: Floats) -> Floats:
    """(slots,) the middle of all tables that serve a passage; NaN where no chord tone uses a slot."""
    closed = _closed(boxes.min(axis=0))
    assert closed is not None  # the passage was chosen because it can be served
    highest, lowest = closed[:-1, -1], -closed[-1, :-1]
    middle = np.full(len(highest), np.nan)
    used = np.isfinite(highest) & np.isfinite(lowest)
    middle[used] = 0.5 * (highest[used] + lowest[used])
    return middle


def _worst(wants: _Wants, here: NDArray[np.bool_], table: Floats) -> float:
    """Largest distance [cents] of a chord tone from its ratio, each window placed where it fits best."""
    window, error = wants.window[here], table[wants.slot[here]] - wants.cents[here]
    if not len(window):
        return 0.0
    highest, lowest = np.full(window.max() + 1, -np.inf), np.full(window.max() + 1, np.inf)
    np.maximum.at(highest, window, error)
    np.minimum.at(lowest, window, error)
    return float(0.5 * (highest - lowest)[np.isfinite(highest)].max())

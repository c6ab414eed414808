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
    drift_limit_cents: float = 15.0,
    by_part: bool = False,
) -> Passages:
    """The fewest passages, each with one table of twelve offsets, or with one offset a part (`by_part`).

    No chord tone lies further than the tolerance [cents] from pure, no root further than the drift limit [cents] from
    equal temperament. Among the ways with fewest passages the one that retunes fewest slots is taken.
    Raises `OptionError` if there is no pitched note, or the tolerance is not above 0, or is too small for a single
    window (a part that plays two chord tones in one window cannot serve both with one offset).
    """
    if not 0.0 < tolerance_cents <= MOST_LIMIT_CENTS:
        raise OptionError(f"tolerance: {tolerance_cents:g} is not a number of cents above 0, at most 1200")
    if not len(harmony.windows):
        raise OptionError("no pitched notes in this file, so there is nothing to tune to")
    slots = _slot_names(score, harmony, by_part)
    wants = _wants(score, harmony, ratios, by_part)
    count = len(harmony.windows)
    boxes = _window_constraints(wants, count, len(slots), tolerance_cents, min(drift_limit_cents, 100.0))
    reach = _reaches(boxes, score, harmony, tolerance_cents)
    cuts = _fewest(boxes, reach)
    return Passages(
        slots=slots,
        passages=_tables(score, harmony, wants, boxes, cuts),
        tolerance_cents=tolerance_cents,
    )


def _slot_names(score: Score, harmony: Harmony, by_part: bool) -> tuple[str, ...]:
    if by_part:
        return tuple(part.name for part in score.parts)
    key = harmony.main_key()
    return tuple(spell(pc, int(key["fifths"]), minor=bool(key["minor"])) for pc in range(12))


def _wants(score: Score, harmony: Harmony, ratios: Ratios, by_part: bool) -> _Wants:
    pieces = harmony.pieces[harmony.pieces["role"] == Role.CHORD]
    key = score.notes["key"].astype(np.int64)[pieces["note"]]
    root = harmony.windows["root_pc"].astype(np.int64)[pieces["window"]]
    slot = score.notes["part"].astype(np.int64)[pieces["note"]] if by_part else key % 12
    rows = np.unique(np.stack([pieces["window"], slot, (key - root) % 12], axis=1), axis=0)
    window, slot, above = rows[:, 0], rows[:, 1], rows[:, 2]
    return _Wants(window, slot, ratios.deviations[window, above] if len(rows) else np.zeros(0))


def _window_constraints(wants: _Wants, windows: int, slots: int, tolerance: float, drift: float) -> Floats:
    """(windows, slots + 1, slots + 1) largest allowed T[a] − T[b]; the last place stands for 0."""
    size = slots + 1
    boxes = np.full((windows, size, size), np.inf)
    boxes[:, np.arange(size), np.arange(size)] = 0.0
    starts = np.searchsorted(wants.window, np.arange(windows + 1))
    for k in range(windows):
        here = slice(starts[k], starts[k + 1])
        slot, cents = wants.slot[here], wants.cents[here]
        a, b = np.repeat(slot, len(slot)), np.tile(slot, len(slot))
        apart = np.repeat(cents, len(cents)) - np.tile(cents, len(cents)) + 2.0 * tolerance
        np.minimum.at(boxes[k], (a, b), apart)
        np.minimum.at(boxes[k], (slot, np.full(len(slot), slots)), cents + drift + tolerance)
        np.minimum.at(boxes[k], (np.full(len(slot), slots), slot), -cents + drift + tolerance)
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
    slots = boxes.shape[1] - 1
    current = np.zeros(slots)
    known = np.zeros(slots, dtype=bool)
    passages = []
    for first, end in zip(cuts, [*cuts[1:], len(boxes)], strict=True):
        table, used = _table(boxes[first:end], slots)
        table = np.where(used, table, current)
        changed = used & known & (np.abs(table - current) > 0.05)
        here = (wants.window >= first) & (wants.window < end)
        passages.append(
            Passage(
                first_window=first,
                last_window=end - 1,
                start_tick=int(harmony.windows["start_tick"][first]),
                end_tick=int(harmony.windows["end_tick"][end - 1]),
                offsets_cents=tuple(float(c) for c in np.round(table, 2) + 0.0),
                retuned=tuple(int(s) for s in np.flatnonzero(changed)),
                worst_cents=round(_worst(wants, here, table), 2) + 0.0,
            )
        )
        current, known = table, known | used
    return tuple(passages)


def _table(boxes: Floats, slots: int) -> tuple[Floats, NDArray[np.bool_]]:
    """The middle of all tables that serve a passage, and which slots it uses."""
    closed = _closed(boxes.min(axis=0))
    assert closed is not None  # the passage was chosen because it can be served
    highest, lowest = closed[:slots, slots], -closed[slots, :slots]
    used = np.isfinite(highest) & np.isfinite(lowest)
    middle = np.zeros(slots)
    middle[used] = 0.5 * (highest[used] + lowest[used])
    return middle, used


def _worst(wants: _Wants, here: NDArray[np.bool_], table: Floats) -> float:
    """Largest distance [cents] of a chord tone from its ratio, each window placed where it fits best."""
    window, error = wants.window[here], table[wants.slot[here]] - wants.cents[here]
    if not len(window):
        return 0.0
    highest, lowest = np.full(window.max() + 1, -np.inf), np.full(window.max() + 1, np.inf)
    np.maximum.at(highest, window, error)
    np.minimum.at(lowest, window, error)
    return float(0.5 * (highest - lowest)[np.isfinite(highest)].max())

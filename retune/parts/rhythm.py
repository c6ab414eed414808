"""From ticks to note values: a grid of 24 to the quarter, bars, tied pieces, voices."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.errors import OptionError

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from retune.score.model import Meters

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

DIVISIONS = 24  # holds thirty-second notes (3), triplet eighths (8) and triplet sixteenths (4)
MOST_BARS = 20_000
_STEPS = np.array([6, 8, 3, 4])  # what a beat may be divided into …
_SHYNESS = np.array(
    [0.0, 0.3, 0.6, 0.8]
)  # … and how much better a finer one must fit [grid units; judgement]

_BINARY = {144: ("whole", 1), 96: ("whole", 0), 72: ("half", 1), 48: ("half", 0), 36: ("quarter", 1),
           24: ("quarter", 0), 18: ("eighth", 1), 12: ("eighth", 0), 9: ("16th", 1), 6: ("16th", 0),
           3: ("32nd", 0)}  # fmt: skip
_TRIPLET = {16: ("quarter", 0), 8: ("eighth", 0), 4: ("16th", 0), 2: ("32nd", 0), 1: ("64th", 0)}


@dataclass(frozen=True, slots=True)
class Value:
    """A duration as it is written."""

    divisions: int
    type: str
    dots: int
    triplet: bool


@dataclass(frozen=True, slots=True)
class Measure:
    """A bar on the grid; `meter` is set where it is new."""

    number: int
    start: int
    end: int
    meter: tuple[int, int] | None


def on_grid(quarters: FloatArray) -> IntArray:
    """Return positions [quarters] moved to the grid; each beat takes the division that fits it best."""
    exact = quarters * DIVISIONS
    beat = np.floor(quarters + 1e-9).astype(np.int64)
    beats, group = np.unique(beat, return_inverse=True)
    nearest = np.rint(exact[:, None] / _STEPS) * _STEPS
    worst = np.zeros((len(beats), len(_STEPS)))
    np.maximum.at(worst, group, np.abs(nearest - exact[:, None]))
    choice = np.argmin(worst + _SHYNESS, axis=1)
    result: IntArray = nearest[np.arange(len(exact)), choice[group]].astype(np.int64)
    return result


def measures(meters: Meters, end: int) -> list[Measure]:
    """Return the bars from the start of the file to grid position `end`, at least one.

    Raises `OptionError` when there are more than `MOST_BARS`.
    """
    bar = 4.0 * DIVISIONS * float(np.min(meters.numerator / meters.denominator))
    if end / bar > MOST_BARS:
        raise OptionError(f"more than {MOST_BARS} bars: too long to write as notation; use .html or .csv")
    starts = np.rint(np.asarray(meters.change_ticks) / meters.ticks_per_quarter * DIVISIONS).astype(int)
    result: list[Measure] = []
    for k, start in enumerate(starts):
        until = int(starts[k + 1]) if k + 1 < len(starts) else max(end, int(start) + 1)
        numerator, denominator = int(meters.numerator[k]), int(meters.denominator[k])
        length = max(1, round(4 * DIVISIONS * numerator / denominator))
        at, number = int(start), int(meters.first_bar[k])
        meter: tuple[int, int] | None = (numerator, denominator)
        while at < min(until, end) or not result:
            stop = at + length if k + 1 == len(starts) else min(at + length, until)
            result.append(Measure(number, at, stop, meter))
            at, number, meter = stop, number + 1, None
    return result


def written(start: int, end: int, bar: Measure, cuts: Iterable[int] = ()) -> list[tuple[int, Value]]:
    """Return (position, value) of the tied pieces that fill a stretch of one bar, also cut at `cuts`."""
    pieces = []
    edges = [*sorted(cut for cut in cuts if start < cut < end), end]
    at = start
    for edge in edges:
        while at < edge:
            length = _piece(at - bar.start, edge - at)
            pieces.append((at, _value(length)))
            at += length
    return pieces


def _piece(position: int, length: int) -> int:
    """Return how much is written as one note: whole values on beats, else up to the next beat."""
    inside = position % DIVISIONS
    off_beat = inside == DIVISIONS // 2 and length in (24, 36, 48)  # syncopation, and the beats of 6/8
    if (inside == 0 or off_beat) and length in _BINARY:
        return length
    if inside == 0 and length >= DIVISIONS:
        return max(value for value in (96, 72, 48, 24) if value <= length)
    room = min(length, DIVISIONS - inside)
    return max(value for value in (*_BINARY, *_TRIPLET) if value <= room)


def _value(divisions: int) -> Value:
    triplet = divisions in _TRIPLET
    kind, dots = (_TRIPLET if triplet else _BINARY)[divisions]
    return Value(divisions, kind, dots, triplet)


def voices(starts: Sequence[int], ends: Sequence[int]) -> list[int]:
    """Return a voice number from 0 for each stretch (in order of start), so that no voice overlaps itself."""
    free_from: list[int] = []
    result = []
    for start, end in zip(starts, ends, strict=True):
        voice = next((index for index, until in enumerate(free_from) if until <= start), len(free_from))
        if voice == len(free_from):
            free_from.append(0)
        free_from[voice] = end
        result.append(voice)
    return result

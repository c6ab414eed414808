"""Harmony given from outside: hints laid over the windows found, hints read from chord symbols."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from retune.errors import OptionError, Remark
from retune.harmony.chord_symbols import parse
from retune.harmony.model import WINDOW_DTYPE, Hint
from retune.harmony.vocabulary import CHORD_TYPES, INDEX_OF_SYMBOL
from retune.score.model import Score
from retune.score.text import readable

SYMBOL_SHARE = 0.8  # texts of a kind are chord symbols if at least this share of them reads as one,
SYMBOL_COUNT = 3  # at least so many do,
SYMBOL_KINDS = 2  # and at least so many different ones


def lay_over(
    windows: NDArray[np.void], hints: Sequence[Hint], score: Score
) -> tuple[NDArray[np.void], tuple[Remark, ...]]:
    """The windows with every hint in its place: what a hint covers goes, what sticks out stays.

    Hints are cut to the span of the music; where two overlap, the later start wins. Raises `OptionError` for
    a chord that is not in the vocabulary.
    """
    if not len(windows):
        return windows, ()
    start, end = int(windows["start_tick"][0]), int(windows["end_tick"][-1])
    ordered = sorted(hints, key=lambda hint: hint.start_tick)
    rows, remarks = [], []
    for hint, following in zip(ordered, [*ordered[1:], None], strict=True):
        low = max(hint.start_tick, start)
        high = min(hint.end_tick, end, following.start_tick if following else end)
        if low >= high:
            remarks.append(
                Remark(
                    code="hint-outside",
                    message="the chord given here covers no music and was left out",
                    where=score.where(hint.start_tick),
                )
            )
            continue
        rows.append(_row(hint, low, high))
    if not rows:
        return windows, tuple(remarks)
    given = np.array(rows, dtype=WINDOW_DTYPE)
    return _around(windows, given), tuple(remarks)


def _around(windows: NDArray[np.void], given: NDArray[np.void]) -> NDArray[np.void]:
    """Given windows (in order, apart from each other) and what is left of the found ones between them."""
    free_start = np.concatenate([windows["start_tick"][:1], given["end_tick"]])
    free_end = np.concatenate([given["start_tick"], windows["end_tick"][-1:]])
    kept = [given]
    for low, high in zip(free_start.tolist(), free_end.tolist(), strict=True):
        if low >= high:
            continue
        first = int(np.searchsorted(windows["end_tick"], low, side="right"))
        last = int(np.searchsorted(windows["start_tick"], high, side="left"))
        part = windows[first:last].copy()
        part["start_tick"][0] = max(low, int(part["start_tick"][0]))
        part["end_tick"][-1] = min(high, int(part["end_tick"][-1]))
        kept.append(part)
    merged = np.concatenate(kept)
    return merged[np.argsort(merged["start_tick"], kind="stable")]


def _row(hint: Hint, low: int, high: int) -> tuple[int, int, int, int, int, int, bool]:
    if hint.chord not in INDEX_OF_SYMBOL and (hint.chord or hint.members is None):
        raise OptionError(f"chord {hint.chord!r} is not one of {', '.join(INDEX_OF_SYMBOL)}")
    chord = INDEX_OF_SYMBOL.get(hint.chord, -1)
    members = CHORD_TYPES[chord].members if hint.members is None else hint.members
    bass = hint.root_pc if hint.bass_pc is None else hint.bass_pc
    return low, high, hint.root_pc, bass, chord, members, True


def hints_from_markers(score: Score) -> tuple[Hint, ...]:
    """Hints from the chord symbols written as markers, texts or lyrics.

    A kind of event (markers; cue points; texts or lyrics of one track) is taken for chord symbols only if at
    least `SYMBOL_SHARE` of its texts read as one (no-chord signs count as reading), at least `SYMBOL_COUNT`
    do, and they are not all the same. Of several such kinds the one with most symbols counts. A symbol holds
    until the next.
    """
    best: list[tuple[int, str]] = []
    for texts in _texts_by_kind(score).values():
        read = [text for _, text in texts if parse(text) is not None or is_no_chord(text)]
        symbols = [text for text in read if not is_no_chord(text)]
        enough = len(symbols) >= SYMBOL_COUNT and len(set(symbols)) >= SYMBOL_KINDS
        if enough and len(read) >= SYMBOL_SHARE * len(texts) and len(read) > len(best):
            best = texts
    return _hold_until_next(best, score.end_tick)


def _texts_by_kind(score: Score) -> dict[tuple[str, int], list[tuple[int, str]]]:
    kinds: dict[tuple[str, int], list[tuple[int, str]]] = {}
    for index, track in enumerate(score.tracks):
        for tick, message in zip(track.ticks, track.messages, strict=True):
            if message.type in ("marker", "cue_marker", "text", "lyrics"):
                group = -1 if message.type in ("marker", "cue_marker") else index
                kinds.setdefault((message.type, group), []).append((int(tick), readable(message.text)))
    return kinds


def _hold_until_next(texts: list[tuple[int, str]], end_tick: int) -> tuple[Hint, ...]:
    signs = sorted((tick, text) for tick, text in texts if parse(text) or is_no_chord(text))
    ends = [tick for tick, _ in signs[1:]] + [end_tick]
    hints = []
    for (tick, text), until in zip(signs, ends, strict=False):
        symbol = parse(text)
        if symbol is not None and until > tick:
            root, chord, bass = symbol
            hints.append(Hint(start_tick=tick, end_tick=until, root_pc=root, chord=chord, bass_pc=bass))
    return tuple(hints)


def is_no_chord(text: str) -> bool:
    """True for the signs that say "no chord here"."""
    return text.strip().rstrip(".").upper() in ("N.C", "NC", "N")

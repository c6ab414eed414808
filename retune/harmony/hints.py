"""Harmony given from outside: hints laid over the windows found, hints read from chord symbols."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from retune.errors import OptionError, Remark
from retune.harmony.chord_symbols import is_no_chord, parse
from retune.harmony.evidence.cuts import GATHER_SECONDS, gather_onsets
from retune.harmony.model import WINDOW_DTYPE, Hint
from retune.harmony.vocabulary import CHORD_TYPES, INDEX_OF_SYMBOL
from retune.score.model import Score
from retune.score.text import readable
from retune.wording import plain

SYMBOL_SHARE = 0.8  # texts of a kind are chord symbols if at least this share of them reads as one,
SYMBOL_COUNT = 3  # at least so many do,
SYMBOL_KINDS = 2  # and at least so many different ones
REHEARSAL_LETTERS = "ABCDEFG"  # of those that read as chords


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


def hints_from_markers(score: Score) -> tuple[tuple[Hint, ...], tuple[Remark, ...]]:
    """Hints from the chord symbols written as markers, texts or lyrics, and what could not be obeyed in them.

    A kind of event (markers; cue points; texts or lyrics of one track) is taken for chord symbols only if at
    least `SYMBOL_SHARE` of its texts read as one (no-chord signs count as reading), at least `SYMBOL_COUNT`
    do, they are not all the same, and they are no rehearsal letters. Of several such kinds the one with most symbols
    counts. A symbol holds until the next, from the onset it stands beside.
    """
    best: list[tuple[int, str]] = []
    most = 0
    for texts in _texts_by_kind(score).values():
        symbols = [text for _, text in texts if parse(text)]
        read = len(symbols) + sum(is_no_chord(text) for _, text in texts)
        enough = len(symbols) >= SYMBOL_COUNT and len(set(symbols)) >= SYMBOL_KINDS
        if (
            enough
            and read >= SYMBOL_SHARE * len(texts)
            and read > most
            and not _in_alphabetical_order(symbols)
        ):
            best, most = sorted(texts, key=lambda item: item[0]), read
    return _hold_until_next(best, score)


def _in_alphabetical_order(symbols: Sequence[str]) -> bool:
    """True for A, B, C …, which mark the sections of a piece."""
    different = "".join(dict.fromkeys(text.strip("[]| ") for text in symbols))
    return len(different) >= SYMBOL_COUNT and REHEARSAL_LETTERS.startswith(different)


def _texts_by_kind(score: Score) -> dict[tuple[str, int], list[tuple[int, str]]]:
    kinds: dict[tuple[str, int], list[tuple[int, str]]] = {}
    for index, track in enumerate(score.tracks):
        for tick, message in zip(track.ticks, track.messages, strict=True):
            if message.type in ("marker", "cue_marker", "text", "lyrics"):
                group = -1 if message.type in ("marker", "cue_marker") else index
                kinds.setdefault((message.type, group), []).append((int(tick), readable(message.text)))
    return kinds


def _hold_until_next(
    texts: list[tuple[int, str]], score: Score
) -> tuple[tuple[Hint, ...], tuple[Remark, ...]]:
    """Hints from texts in order of time; what is no symbol changes nothing, of two at one place the later counts."""
    if not texts:
        return (), ()
    reads = [bool(parse(text)) or is_no_chord(text) for _, text in texts]
    signs = [sign for sign, read in zip(texts, reads, strict=True) if read]
    starts = beside_onsets([tick for tick, _ in signs], score)
    ends = [*starts[1:], score.end_tick]
    hints, remarks = [], [_unread(*sign, score) for sign, read in zip(texts, reads, strict=True) if not read]
    for i, ((_, text), start, end) in enumerate(zip(signs, starts, ends, strict=True)):
        symbol = parse(text)
        if end > start and symbol is not None:
            root, chord, bass, members = symbol
            hint = Hint(
                start_tick=start, end_tick=end, root_pc=root, chord=chord, bass_pc=bass, members=members
            )
            hints.append(hint)
        elif end <= start and i + 1 < len(signs) and parse(signs[i + 1][1]) != symbol:
            remarks.append(_contradicted(start, text, signs[i + 1][1], score))
    return tuple(hints), tuple(remarks)


def beside_onsets(ticks: Sequence[int], score: Score) -> list[int]:
    """Ticks, in ascending order, moved to the onset each stands beside (`GATHER_SECONDS`): performed timing.

    Of several ticks beside one onset only the nearest moves, so that the order stays.
    """
    onsets = gather_onsets(score.notes["onset_tick"][score.pitched].astype(np.int64), score.clock)
    if not len(onsets) or not len(ticks):
        return list(ticks)
    at = np.array(ticks, dtype=np.int64)
    right = np.minimum(np.searchsorted(onsets, at), len(onsets) - 1)
    left = np.maximum(right - 1, 0)
    nearest = np.where(np.abs(onsets[left] - at) < np.abs(onsets[right] - at), onsets[left], onsets[right])
    apart = np.abs(score.clock.seconds(nearest) - score.clock.seconds(at))
    moved = np.where(apart <= GATHER_SECONDS, nearest, at)
    for i in range(1, len(moved)):
        if at[i] > at[i - 1] and moved[i] <= moved[i - 1]:
            further = i if apart[i] > apart[i - 1] else i - 1
            moved[further] = at[further]
    return [int(tick) for tick in moved]


def _unread(tick: int, text: str, score: Score) -> Remark:
    message = f"{plain(text)!r} stands among the chord symbols and is none; the chord before it holds on"
    return Remark(code="unread-chord", message=message, where=score.where(tick))


def _contradicted(tick: int, text: str, later: str, score: Score) -> Remark:
    message = f"two chord symbols in one place, {plain(text)!r} and {plain(later)!r}; the second one was used"
    return Remark(code="two-chords", message=message, where=score.where(tick))

"""Turn a plan into what the stages take, given the score it is for."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from retune.harmony.hints import beside_onsets
from retune.harmony.model import Harmony, Hint
from retune.harmony.spelling import chord_label
from retune.harmony.vocabulary import CHORD_TYPES, INDEX_OF_SYMBOL
from retune.ratios.choose import choose_ratios, chord_tones, complete, table_for

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from retune.options import Options
    from retune.plan.model import Place, Plan, PlanWindow
    from retune.ratios.model import Ratios, RatioTable
    from retune.score.model import FloatArray, Score


def hints(plan: Plan, score: Score) -> tuple[Hint, ...]:
    """Return the stretches whose harmony the plan gives, in order of time.

    Raises `PlanError` for a place outside the score and for rows that overlap.
    """
    found = []
    for row, start, end in _stretches(plan, score):
        if row.root_pc is None:
            continue
        found.append(
            Hint(
                start_tick=start,
                end_tick=end,
                root_pc=row.root_pc,
                chord=row.chord,
                bass_pc=row.bass_pc,
                members=row.members,
            )
        )
    return tuple(found)


def over(above: Sequence[Hint], below: Sequence[Hint]) -> tuple[Hint, ...]:
    """Return hints in order of time: those of `above`, and what they leave free of those `below`."""
    left = list(below)
    for top in above:
        cut = []
        for hint in left:
            if hint.end_tick <= top.start_tick or hint.start_tick >= top.end_tick:
                cut.append(hint)
                continue
            if hint.start_tick < top.start_tick:
                cut.append(replace(hint, end_tick=top.start_tick))
            if hint.end_tick > top.end_tick:
                cut.append(replace(hint, start_tick=top.end_tick))
        left = cut
    return tuple(sorted((*above, *left), key=lambda hint: hint.start_tick))


def ratio_tables(
    plan: Plan, score: Score, harmony: Harmony, *, prime_limit: int
) -> tuple[dict[str, RatioTable], dict[int, RatioTable]]:
    """Return the plan's ratios by chord symbol and by window, as `choose_ratios` takes them.

    A row's ratios go before those of its chord type; tones the plan does not name are chosen as ever.
    """
    for_chord = {
        symbol: complete(chord_tones(INDEX_OF_SYMBOL[symbol], prime_limit) | dict(tones), prime_limit)
        for symbol, tones in plan.for_chord.items()
    }
    for_window = {}
    for row, start, end in _stretches(plan, score):
        inside = list(_windows_within(harmony, start, end)) if row.ratios else []
        _refuse_foreign_tones(plan, row, harmony, inside)
        for window in inside:
            chord, members = (int(harmony.windows[window][field]) for field in ("chord", "members"))
            own = for_chord.get(CHORD_TYPES[chord].symbol) if chord >= 0 else None
            usual = (own or table_for(chord, members, prime_limit)).pairs
            tones = {step: usual[step] for step in range(12) if members >> step & 1}
            for_window[window] = complete(tones | dict(row.ratios), prime_limit)
    return for_chord, for_window


def _refuse_foreign_tones(plan: Plan, row: PlanWindow, harmony: Harmony, windows: list[int]) -> None:
    """Raise `PlanError` for a ratio that belongs to no chord tone of any window of the row: a slip, not a wish."""
    members = 1
    for window in windows:
        members |= int(harmony.windows[window]["members"])
    for step, (numerator, denominator) in row.ratios.items():
        if windows and not members >> step & 1:
            window = harmony.windows[windows[0]]
            chord = chord_label(window, harmony.key_at(int(window["start_tick"])))
            raise plan.source.error(
                ("windows", row.index, "ratios"),
                f"{numerator}/{denominator} is {step} semitones above the root, and {chord} has no such tone; "
                "give root and chord too if the chord is another",
            )


def plan_ratios(
    plan: Plan, score: Score, harmony: Harmony, chosen: Ratios, *, prime_limit: int = 5
) -> Ratios:
    """Return the ratios of every window with those of the plan in place of the chosen ones.

    Raises `PlanError` for a row that lies outside the score or gives a ratio to no tone of its chord.
    """
    for_chord, for_window = ratio_tables(plan, score, harmony, prime_limit=prime_limit)
    if not for_chord and not for_window:
        return chosen
    return choose_ratios(harmony, prime_limit=prime_limit, for_chord=for_chord, for_window=for_window)


def window_limits(
    plan: Plan, score: Score, harmony: Harmony, options: Options
) -> tuple[FloatArray, FloatArray]:
    """Return (n_windows,) drift limits and (n_windows,) hold limits [cents], sections of the plan applied.

    A window belongs to a section if it starts in one of its bars, as places are said; later sections go before
    earlier ones.
    Raises `PlanError` for a section that starts after the end of the score.
    """
    count = len(harmony.windows)
    drift = np.full(count, options.drift_limit_cents, dtype=np.float64)
    hold = np.full(count, options.hold_limit_cents, dtype=np.float64)
    bars, _ = score.meters.spoken(harmony.windows["start_tick"])
    for section in plan.sections:
        if score.meters.tick_of(section.first_bar) >= max(score.end_tick, 1):
            raise plan.source.error(("sections", section.index, "bars"), _past_end(score, section.first_bar))
        inside = (bars >= section.first_bar) & (bars <= section.last_bar)
        if section.drift_limit_cents is not None:
            drift[inside] = section.drift_limit_cents
        if section.hold_limit_cents is not None:
            hold[inside] = section.hold_limit_cents
    return drift, hold


def chord_symbol(harmony: Harmony, window: int) -> str:
    """Return the symbol of a window's chord type, "" for a set no type names."""
    index = int(harmony.windows["chord"][window])
    return CHORD_TYPES[index].symbol if index >= 0 else ""


def _stretches(plan: Plan, score: Score) -> Iterator[tuple[PlanWindow, int, int]]:
    """Yield each row with its start and end tick, in order of time, moved to the onsets they stand beside."""
    found = list(_written_stretches(plan, score))
    ticks = sorted({tick for _, start, end in found for tick in (start, end)})
    moved = dict(zip(ticks, beside_onsets(ticks, score), strict=True))
    return ((row, moved[start], moved[end]) for row, start, end in found)


def _written_stretches(plan: Plan, score: Score) -> Iterator[tuple[PlanWindow, int, int]]:
    rows = sorted(plan.windows, key=lambda row: row.start)
    starts = [_tick(plan, score, row, "at", row.start) for row in rows]
    for i, row in enumerate(rows):
        if row.end is not None:
            end = _tick(plan, score, row, "to", row.end)
        else:
            end = score.meters.tick_of(row.start[0] + 1)
            end = min(end, starts[i + 1]) if i + 1 < len(rows) else end
        if end <= starts[i]:
            raise plan.source.error(("windows", row.index, "at"), "another row starts at the same place")
        if i + 1 < len(rows) and end > starts[i + 1]:
            later = rows[i + 1].index + 1
            raise plan.source.error(("windows", row.index, "to"), f"runs into row {later} of the windows")
        yield row, starts[i], end


def _tick(plan: Plan, score: Score, row: PlanWindow, field: str, place: Place) -> int:
    bar, beat = place
    tick = score.meters.tick_of(bar, beat)
    path = ("windows", row.index, field)
    if field == "at" and tick >= score.meters.tick_of(bar + 1):
        raise plan.source.error(path, f"bar {bar} has no beat {beat:g}")
    if tick >= score.end_tick and (field == "at" or tick > score.meters.tick_of(score.last_bar + 1)):
        raise plan.source.error(path, _past_end(score, bar))
    return tick


def _past_end(score: Score, bar: int) -> str:
    return f"bar {bar} is past the end of the music in bar {score.last_bar}"


def _windows_within(harmony: Harmony, start: int, end: int) -> list[int]:
    """Return the windows that start within a stretch, or the one that spans its start."""
    starts = harmony.windows["start_tick"]
    inside = np.flatnonzero((starts >= start) & (starts < end))
    if not len(inside):
        inside = np.flatnonzero((starts <= start) & (harmony.windows["end_tick"] > start))
    return [int(window) for window in inside]

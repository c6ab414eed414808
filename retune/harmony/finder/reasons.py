"""Why a window has the chord it has: what sounded, how the winner scored, what came next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from retune.harmony.evidence.steps import find_steps
from retune.harmony.finder.candidates import BLOCK_ROWS, BLOCKS, evidence_table, name_of
from retune.harmony.finder.segments import Junctures, find_junctures
from retune.harmony.model import Harmony
from retune.score.model import FloatArray, Score

RIVALS = 3  # candidates listed, of different roots


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One chord that was weighed for a window."""

    root_pc: int
    chord: str  # symbol of the decoder's chord type
    points: float  # evidence of the window alone; what comes before and after is not in it
    terms: dict[str, float]  # points by kind of evidence (`candidates.BLOCKS`)
    behind: float  # points behind the best candidate of the list


@dataclass(frozen=True, slots=True, kw_only=True)
class Slice:
    """What sounds between two junctures, where a chord might have changed."""

    start_tick: int
    end_tick: int
    amounts: tuple[float, ...]  # (12,) weighted duration of each pitch class [beats]
    bass_pc: int | None
    change_cost: float  # points a change of chord costs at the start


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """One window explained."""

    window: int  # index into Harmony.windows
    given: bool  # True: a hint said so; the candidates then say what the finder would have thought
    slices: tuple[Slice, ...]
    candidates: tuple[Candidate, ...]  # best of each root, most points first


def explain(score: Score, harmony: Harmony, start_tick: int, end_tick: int) -> tuple[Explanation, ...]:
    """Explain every window that overlaps the span, in order.

    The candidates are judged by the evidence of their window alone. Where the window's own root is not the first
    of them, the chords around it or the cost of changing decided.
    """
    windows = harmony.windows
    steps = find_steps(score)
    if not len(steps):
        return ()
    junctures = find_junctures(steps)
    meets = (windows["start_tick"] < max(end_tick, start_tick + 1)) & (windows["end_tick"] > start_tick)
    return tuple(_one(int(k), harmony, junctures) for k in np.flatnonzero(meets))


def _one(k: int, harmony: Harmony, junctures: Junctures) -> Explanation:
    window = harmony.windows[k]
    first = int(np.searchsorted(junctures.ticks, window["start_tick"], side="right")) - 1
    last = int(np.searchsorted(junctures.ticks, window["end_tick"], side="left"))
    first = min(max(first, 0), len(junctures) - 1)
    last = min(max(last, first + 1), len(junctures))
    features = junctures.features(np.array([first]), np.array([last]))[0].astype(np.float64)
    return Explanation(
        window=k,
        given=bool(window["given"]),
        slices=tuple(_slice(j, junctures) for j in range(first, last)),
        candidates=_ranked(features),
    )


def _slice(j: int, junctures: Junctures) -> Slice:
    amounts = junctures.sound[:, j + 1] - junctures.sound[:, j]
    bass = junctures.bass[:, j + 1] - junctures.bass[:, j]
    return Slice(
        start_tick=int(junctures.ticks[j]),
        end_tick=int(junctures.ticks[j + 1]),
        amounts=tuple(round(float(a), 4) for a in amounts),
        bass_pc=int(bass.argmax()) if bass.max() > 0 else None,
        change_cost=float(junctures.cost[j]),
    )


def _ranked(features: FloatArray) -> tuple[Candidate, ...]:
    """The best candidate of each of the `RIVALS` best roots."""
    table = evidence_table().astype(np.float64)
    points = features @ table
    by_root = points.reshape(-1, 12)
    roots = by_root.max(axis=0).argsort(kind="stable")[::-1][:RIVALS]
    chosen = [int(by_root[:, root].argmax()) * 12 + int(root) for root in roots]
    ranked = []
    for candidate in chosen:
        root, chord = name_of(candidate)
        terms = {
            name: float(features[rows] @ table[rows, candidate])
            for name, rows in zip(BLOCKS, BLOCK_ROWS, strict=True)
        }
        ranked.append(
            Candidate(
                root_pc=root,
                chord=chord,
                points=float(points[candidate]),
                terms=terms,
                behind=float(points[chosen[0]] - points[candidate]),
            )
        )
    return tuple(ranked)

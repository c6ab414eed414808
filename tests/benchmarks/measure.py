"""Side-by-side measuring: every contestant in turn, several rounds, the best of each counts.

Processor time is counted, not the clock on the wall, and what matters is the ratio of two figures of one run: so
the results hold on a busy machine, and can be compared between machines.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping

ROUNDS = 5
LEAST_SECONDS = 0.2  # what is quicker than this is repeated until it takes as long


def best_seconds(contestants: Mapping[str, Callable[[], object]], rounds: int = ROUNDS) -> dict[str, float]:
    """Processor seconds of one call of each contestant, the best of several rounds."""
    best = {name: _once(run) for name, run in contestants.items()}
    repeats = {name: max(1, int(LEAST_SECONDS / max(seconds, 1e-6))) for name, seconds in best.items()}
    for _ in range(rounds):
        for name, run in contestants.items():
            began = time.process_time()
            for _ in range(repeats[name]):
                run()
            best[name] = min(best[name], (time.process_time() - began) / repeats[name])
    return best


def _once(run: Callable[[], object]) -> float:
    began = time.process_time()
    run()
    return time.process_time() - began


def told(
    name: str, ratio: float, goal: float | None = None, *, more: bool = False, what: str = "times"
) -> str:
    """A line of the result; `more`: the ratio is better if it is larger."""
    if goal is None:
        return f"{name:<58} {ratio:7.2f} {what}"
    met = "met" if (ratio >= goal if more else ratio <= goal) else "MISSED"
    return f"{name:<58} {ratio:7.2f} {what}, goal {'at least' if more else 'at most'} {goal:g}: {met}"

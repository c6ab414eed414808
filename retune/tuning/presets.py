"""Named balances between pure chords and still lines."""

from __future__ import annotations

from dataclasses import replace
from math import inf
from typing import TYPE_CHECKING

from retune.tuning.weights import Weights

if TYPE_CHECKING:
    from collections.abc import Callable

    from retune.options import Options


def balanced(options: Options) -> Options:
    """The default: chords pure, held notes still, and the comma left where it is heard least."""
    return options


def pure_chords(options: Options) -> Options:
    """Chords before all else: pure wherever the drift limit allows it; sounding notes may move without limit."""
    return replace(options, hold_limit_cents=inf, purity_first=True)


def still_lines(options: Options) -> Options:
    """No sounding note ever moves, and repeated notes keep their pitch before chords get theirs."""
    return replace(options, hold_limit_cents=0.0, line_weight=6.0)


PRESETS: dict[str, Callable[[Options], Options]] = {
    "balanced": balanced,
    "pure-chords": pure_chords,
    "still-lines": still_lines,
}


def weights_for(options: Options) -> Weights:
    """The weights the options ask for."""
    base = Weights()
    if options.purity_first:
        # Lines count for so little that they only choose among tunings with equally pure chords.
        return replace(
            base,
            frame=1.0,
            repeat=base.repeat * 1e-3,
            held=base.held * 1e-3,
            step=base.step * 1e-3,
            leap=base.leap * 1e-3,
        )
    return replace(base, repeat=base.repeat * options.line_weight, held=base.held * options.line_weight)

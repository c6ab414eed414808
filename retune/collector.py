"""Python's cyclic garbage collector, held back while a file is converted."""

from __future__ import annotations

import functools
import gc
from collections.abc import Callable
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")


def without_collector(function: Callable[P, R]) -> Callable[P, R]:
    """The same function, run with the collector off (and left as it was afterwards).

    The stages make hundreds of thousands of objects that form no cycles. The collector walks them again and again
    for nothing: a tenth of the time of a long conversion. Memory is not held longer, because reference counts free
    everything the stages drop; what is large and part of a cycle would be held, so there must be no such thing.
    """

    @functools.wraps(function)
    def held(*args: P.args, **kwargs: P.kwargs) -> R:
        was_on = gc.isenabled()
        gc.disable()
        try:
            return function(*args, **kwargs)
        finally:
            if was_on:
                gc.enable()

    return held

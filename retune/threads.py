"""The threads of the linear algebra below NumPy, held back while a file is converted."""

from __future__ import annotations

import ctypes
import functools
import importlib
import threading
from collections.abc import Callable
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")

_NAMES = (
    "scipy_openblas_{}_num_threads64_",  # wheels of NumPy
    "openblas_{}_num_threads",  # Linux distributions
)
_lock = threading.Lock()
_held = 0  # how many calls that hold them back are under way
_before = 1  # how many threads there were before the first of them


def on_one_thread(function: Callable[P, R]) -> Callable[P, R]:
    """The same function, run with OpenBLAS on one thread (and left as it was afterwards).

    The matrices of a piece are so small that further threads do nothing but wait for work, at full speed: a
    conversion took twice the processor time. Does nothing where NumPy has another library below it.
    """

    @functools.wraps(function)
    def alone(*args: P.args, **kwargs: P.kwargs) -> R:
        _count(+1)
        try:
            return function(*args, **kwargs)
        finally:
            _count(-1)

    return alone


def _count(change: int) -> None:
    """One call more or less; the first sets the number of threads to 1, the last sets it back."""
    global _held, _before
    get, put = _controls()
    with _lock:
        if _held == 0:
            _before = get()
        _held += change
        put(1 if _held else _before)


@functools.cache
def _controls() -> tuple[Callable[[], int], Callable[[int], object]]:
    """Functions of OpenBLAS that tell and set its number of threads."""
    try:
        library = ctypes.CDLL(importlib.import_module("numpy._core._multiarray_umath").__file__)
    except (ImportError, OSError):
        return lambda: 1, lambda _: None
    for name in _NAMES:
        if hasattr(library, name.format("set")):
            return getattr(library, name.format("get")), getattr(library, name.format("set"))
    return lambda: 1, lambda _: None

"""Find the line on which a value of a TOML text stands, or a mistake.

The standard reader keeps no positions. The line of a value is the number of lines one must read until
the value is there, so it is found by reading ever closer beginnings of the text: about ten reads for a
plan of a thousand rows, and only when there is an error to report.
"""

from __future__ import annotations

import re
import tomllib
from typing import Any

_CLOSERS = ("", "\n]", "\n]]")  # a beginning may end inside an array, or an array in an array


def line_of(text: str, path: tuple[str | int, ...]) -> int:
    """Return the line, from 1, on which the value at `path` is complete; 1 if it is not there."""
    lines = text.splitlines()
    absent, present = 0, len(lines)
    while present - absent > 1:
        middle = (absent + present) // 2
        readable, value = middle, None
        while readable > absent and (value := _read("\n".join(lines[:readable]))) is None:
            readable -= 1
        if value is not None and _has(value, path):
            present = readable
        else:
            absent = middle
    return max(present, 1)


def place_of(error: tomllib.TOMLDecodeError, text: str) -> tuple[int, int, str]:
    """Return the line and column, from 1, where a text stops being TOML, and why."""
    reason, _, place = str(error).partition(" (at ")
    if reason == "Invalid value":
        reason = "no value here; words stand in quotes"
    at = re.match(r"line (\d+), column (\d+)", place)
    line, column = (int(at[1]), int(at[2])) if at else (text.count("\n") + 1, 1)
    return line, column, reason


def _read(text: str) -> dict[str, Any] | None:
    for closer in _CLOSERS:
        try:
            return tomllib.loads(text + closer)
        except tomllib.TOMLDecodeError:
            continue
    return None


def _has(value: Any, path: tuple[str | int, ...]) -> bool:
    for step in path:
        try:
            value = value[step]
        except (KeyError, IndexError, TypeError):
            return False
    return True

"""Options of the commands that show or play a piece: which bars, and endings of file names."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import click

from retune.errors import OptionError
from retune.wording import plain

_BARS = re.compile(r"(\d{1,6})(?:-(\d{1,6}))?$")


class Bars(click.ParamType):  # type: ignore[type-arg]
    """A bar or a range of bars: 5 or 5-8."""

    name = "bar|first-last"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[int, int | None]:
        """Return first and last bar, both included; last is None for one bar."""
        if isinstance(value, tuple):
            return value
        match = _BARS.match(str(value).strip())
        if match is None:
            self.fail(f"{value!r} is neither a bar such as 5 nor a range such as 5-8", param, ctx)
        first, last = int(match[1]), int(match[2]) if match[2] else None
        if last is not None and last < first:
            self.fail(f"{value!r}: the first bar comes before the last, as in {last}-{first}", param, ctx)
        return first, last


def ending(path: str, legal: tuple[str, ...], *, for_stdout: str | None = None) -> str:
    """Return the ending of a file name, one of `legal`; raises `OptionError` for any other."""
    if path == "-" and for_stdout is not None:
        return for_stdout
    if not path:
        raise OptionError("the name of an output is empty; say where to write")
    found = Path(path).suffix.lower().lstrip(".")
    if found not in legal:
        endings = ", ".join(f".{name}" for name in legal)
        raise OptionError(f"{plain(path)}: the ending says what to write; use one of {endings}")
    return found

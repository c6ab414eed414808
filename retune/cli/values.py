"""Values that options take: a word out of a list, a limit in cents, a prime limit, a range of bars."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from typing import Any

import click

from retune.options import PRIME_LIMITS
from retune.wording import nearest

_BARS = re.compile(r"(\d{1,6})(?:-(\d{1,6}))?$")


class Word(click.ParamType):  # type: ignore[type-arg]
    """A value out of a short list; a mistyped one is answered with the nearest."""

    name = "word"

    def __init__(self, legal: Sequence[str] | Callable[[], Sequence[str]]) -> None:
        self._legal = legal

    @property
    def legal(self) -> tuple[str, ...]:
        """The legal words; a list that needs an import is fetched only here."""
        return tuple(self._legal() if callable(self._legal) else self._legal)

    def get_metavar(self, param: click.Parameter, ctx: click.Context | None = None) -> str:
        """Return the legal words as help shows them."""
        return "|".join(self.legal)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the value if it is legal."""
        if value in self.legal:
            return str(value)
        hint = nearest(str(value), self.legal)
        return self.fail(f"{value!r} is not one of {', '.join(self.legal)}{hint}", param, ctx)


class Limit(click.ParamType):  # type: ignore[type-arg]
    """A number of cents of 0 or more, or `none`."""

    name = "cents|none"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the limit [cents], `inf` for none."""
        if isinstance(value, float):
            return value
        if value == "none":
            return math.inf
        try:
            number = float(value)
        except ValueError:
            number = math.nan
        if not 0.0 <= number < math.inf:
            self.fail(f"{value!r} is not a number of cents of 0 or more, or none", param, ctx)
        return number


class PrimeLimit(click.ParamType):  # type: ignore[type-arg]
    """A prime limit for ratios."""

    name = "prime limit"

    legal = tuple(map(str, PRIME_LIMITS))

    def get_metavar(self, param: click.Parameter, ctx: click.Context | None = None) -> str:
        """Return the legal numbers as help shows them."""
        return "|".join(self.legal)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Return the prime limit as a number."""
        if str(value) not in self.legal:
            self.fail(f"{value!r} is not one of {', '.join(self.legal)}", param, ctx)
        return int(value)


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

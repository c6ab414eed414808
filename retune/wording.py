"""Small helpers for what people read: the nearest legal word, and text that is safe on a terminal."""

from __future__ import annotations

import unicodedata
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable


def nearest(word: str, legal: Iterable[str], *, likeness: float = 0.5) -> str:
    """Return `; nearest: WORD` for the legal word closest to a mistyped one, or "" if none is so alike (0 to 1)."""
    import difflib

    by_folded = {candidate.casefold(): candidate for candidate in legal}
    close = difflib.get_close_matches(word.casefold(), by_folded, n=1, cutoff=likeness)
    return f"; nearest: {by_folded[close[0]]}" if close else ""


def count(number: float, thing: str) -> str:
    """Return a number of things in words, such as `1 passage`, `2 passages` and `0.5 cents`."""
    shown = f"{number:g}" if isinstance(number, float) else str(number)
    return f"{shown} {thing}" if number == 1 else f"{shown} {thing}s"


def bars_words(first: int, last: int) -> str:
    """Return a stretch of bars in words: `bar 5` or `bars 5-8`."""
    return f"bar {first}" if first == last else f"bars {first}-{last}"


def plain(text: str) -> str:
    """Return text from a file with control and direction-changing characters shown as `·`.

    Names of tracks and files may hold anything; a terminal would obey escape sequences in them.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join("·" if unicodedata.category(c) in _UNSAFE else c for c in text)


_UNSAFE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})

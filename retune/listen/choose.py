"""Which parts a listener or singer means."""

from __future__ import annotations

from typing import TYPE_CHECKING

from retune.errors import OptionError
from retune.wording import nearest, plain

if TYPE_CHECKING:
    from collections.abc import Iterable

    from retune.score.model import Score


def chosen_parts(score: Score, texts: Iterable[str]) -> tuple[int, ...]:
    """Return the pitched parts meant by names, beginnings of names or numbers (from 1), in order.

    Raises `OptionError` for a text that means no part, or one that is percussion.
    """
    found: set[int] = set()
    for text in texts:
        matches = _matches(score, text.strip())
        if not matches:
            names = [plain(part.name) for part in score.parts]
            listed = ", ".join(f"{index} {name}" for index, name in enumerate(names, start=1))
            raise OptionError(
                f"part {plain(text)!r}: no such part{nearest(text, names)}; the parts are {listed}"
            )
        found.update(matches)
    silent = [score.parts[index].name for index in found if score.parts[index].is_percussion]
    if silent:
        raise OptionError(f"part {plain(silent[0])!r}: percussion has no tuning to hear; name a pitched part")
    return tuple(sorted(found))


def _matches(score: Score, text: str) -> list[int]:
    if text.isdecimal():
        return [int(text) - 1] if 1 <= int(text) <= len(score.parts) else []
    folded = text.casefold()
    exact = [part.index for part in score.parts if part.name.casefold() == folded]
    return exact or [part.index for part in score.parts if folded and part.name.casefold().startswith(folded)]

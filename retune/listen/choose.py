"""Which parts a listener or singer means."""

from __future__ import annotations

from typing import TYPE_CHECKING

from retune.score.choose import parts_meant

if TYPE_CHECKING:
    from collections.abc import Iterable

    from retune.score.model import Score


def chosen_parts(score: Score, texts: Iterable[str]) -> tuple[int, ...]:
    """Return the pitched parts meant by texts, in order. Raises `OptionError`: see `parts_meant`."""
    return tuple(sorted({index for text in texts for index in parts_meant(text, score.parts)}))

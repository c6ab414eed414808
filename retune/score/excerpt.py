"""Some bars of the music, as a listener or a reader asks for them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.errors import OptionError
from retune.score.model import Score
from retune.wording import bars_words


def excerpt_ticks(
    score: Score, notes: NDArray[np.void], first_bar: int | None, last_bar: int | None
) -> tuple[int, int]:
    """Tick where the bars asked for begin, and where they end; without bars, those of all notes.

    `notes` are rows of `NOTE_DTYPE`, at least one. Both bars are included; a first bar alone is one bar.
    Raises `OptionError` for bars outside the music.
    """
    start, end = int(notes["onset_tick"].min()), int(notes["sounding_end_tick"].max())
    if first_bar is None:
        return start, end
    last_bar = first_bar if last_bar is None else last_bar
    from_tick, to_tick = score.meters.tick_of(first_bar), score.meters.tick_of(last_bar + 1)
    if not 1 <= first_bar <= last_bar or from_tick >= end or to_tick <= start:
        bars = score.meters.bar_beat(np.array([start, max(end - 1, start)]))[0]
        wanted = bars_words(first_bar, last_bar)
        raise OptionError(f"{wanted}: no notes there; the music has bars {bars[0]} to {bars[1]}")
    return from_tick, to_tick

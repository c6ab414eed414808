"""Pick the picture, draw it, save it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from retune.errors import OptionError
from retune.plots import beats, drift, roll
from retune.plots.style import FORMATS, saved, settings
from retune.wording import bars_words, plain

if TYPE_CHECKING:
    from retune.harmony.model import Harmony
    from retune.options import Options
    from retune.ratios.model import Ratios
    from retune.score.model import Score
    from retune.tuning.model import Tuning

KINDS = ("roll", "drift", "beats")


def draw(
    kind: str,
    score: Score,
    harmony: Harmony,
    ratios: Ratios,
    tuning: Tuning,
    options: Options,
    *,
    form: str = "svg",
    first_bar: int | None = None,
    last_bar: int | None = None,
    title: str = "",
) -> bytes:
    """Return a picture of a kind of `KINDS` as a file of a form of `FORMATS`.

    roll: every note in its colour of offset. drift: where the roots sit, over time. beats: one chord (the first
    long one from `first_bar` on) in equal temperament and retuned, its spectrum and how loud it is over time.

    Raises `OptionError` for a kind, form or bar that is not there, and without matplotlib.
    """
    for name, value, legal in (("kind", kind, KINDS), ("form", form, FORMATS)):
        if value not in legal:
            raise OptionError(f"{name}: {value!r} is not one of {', '.join(legal)}")
    if not score.pitched.any():
        raise OptionError("nothing to draw: the file has no pitched notes")
    notes = score.notes[score.pitched]
    start, end = int(notes["onset_tick"].min()), int(notes["sounding_end_tick"].max())
    if first_bar is not None:
        last_bar = first_bar if last_bar is None else last_bar
        from_tick, to_tick = score.meters.tick_of(first_bar), score.meters.tick_of(last_bar + 1)
        if first_bar < 1 or last_bar < first_bar or from_tick >= end or to_tick <= start:
            bars = score.meters.bar_beat(np.array([start, max(end - 1, start)]))[0]
            wanted = bars_words(first_bar, last_bar)
            raise OptionError(f"{wanted}: no notes there; the music has bars {bars[0]} to {bars[1]}")
        start, end = from_tick, to_tick
    onset, silent = notes["onset_tick"], notes["sounding_end_tick"]
    if not np.any((onset < end) & (silent > start) & (silent > onset)):
        raise OptionError("nothing to draw: no note sounds there")
    title = plain(title)
    with settings():
        if kind == "roll":
            figure = roll.picture(score, tuning, options.reference_hz, start, end, title)
        elif kind == "drift":
            figure = drift.picture(score, harmony, tuning, options, start, end, title)
        else:
            figure = beats.picture(score, harmony, ratios, tuning, options.reference_hz, start, end, title)
        return saved(figure, form)

"""Pick the picture, draw it, save it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from retune.errors import OptionError
from retune.plots import beats, drift, roll
from retune.plots.style import saved, settings
from retune.score.excerpt import excerpt_ticks
from retune.wording import plain

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
    if kind not in KINDS:
        raise OptionError(f"kind: {kind!r} is not one of {', '.join(KINDS)}")
    if not score.pitched.any():
        raise OptionError("nothing to draw: the file has no pitched notes")
    notes = score.notes[score.pitched]
    start, end = excerpt_ticks(score, notes, first_bar, last_bar)
    onset, silent = notes["onset_tick"], notes["sounding_end_tick"]
    if not np.any((onset < end) & (silent > start) & (silent > onset)):
        raise OptionError("nothing to draw: no note sounds there")
    title = plain(title)
    with settings(form):
        if kind == "roll":
            figure = roll.picture(score, tuning, options.reference_hz, start, end, title)
        elif kind == "drift":
            figure = drift.picture(score, harmony, tuning, options, start, end, title)
        else:
            figure = beats.picture(score, harmony, ratios, tuning, options.reference_hz, start, end, title)
        return saved(figure, form)

"""Fixed parts: whose tuning may not be touched, and where it lies."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.score.choose import parts_meant

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from retune.options import Options
    from retune.score.model import Part, Score

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def fixed_parts(options: Options, parts: Sequence[Part]) -> dict[int, Floats]:
    """{part index: (12,) offsets of its pitch classes, C first [cents]} of the fixed parts of the options.

    PART is read by `parts_meant`. Without a temperament the part stands at equal temperament.

    Raises `OptionError` for a pitched part or a temperament that does not exist.
    """
    found: dict[int, Floats] = {}
    for text in options.fixed:
        name, _, temperament_name = text.partition("=")
        if temperament_name:
            from retune.tuning.temperaments import temperament

            offsets = np.asarray(temperament(temperament_name, files=dict(options.temperaments)))
        else:
            offsets = np.zeros(12)
        for index in parts_meant(name, parts, what="fixed part"):
            found[index] = offsets
    return found


def given_offsets(score: Score, note: Ints, fixed: Mapping[int, Floats]) -> Floats:
    """(n,) offset of each of these notes that belongs to a fixed part [cents], nan for those that are free."""
    given = np.full(len(note), np.nan)
    if not fixed:
        return given
    part, key = score.notes["part"][note], score.notes["key"][note]
    for index, offsets in fixed.items():
        mine = part == index
        given[mine] = offsets[key[mine] % 12]
    return given

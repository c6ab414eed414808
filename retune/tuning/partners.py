"""Fixed parts: whose tuning may not be touched, and where it lies."""

from __future__ import annotations

import difflib
import re
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.errors import OptionError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from retune.harmony.model import Harmony
    from retune.score.model import Part, Score

Floats = NDArray[np.float64]

_PROGRAMS = re.compile(r"program:(\d{1,3})(?:-(\d{1,3}))?$")


def fixed_parts(texts: Sequence[str], parts: Sequence[Part]) -> dict[int, Floats]:
    """{part index: (12,) offsets of its pitch classes, C first [cents]} for texts PART or PART=TEMPERAMENT.

    PART is a part's name (case does not matter), its number from 1, or `program:0-7` for all parts whose
    General MIDI program lies in that range. Without a temperament the part stands at equal temperament.

    Raises `OptionError` for a part or temperament that does not exist.
    """
    found: dict[int, Floats] = {}
    for text in texts:
        name, _, temperament_name = text.partition("=")
        if temperament_name:
            from retune.tuning.temperaments import temperament

            offsets = np.asarray(temperament(temperament_name.strip()), dtype=np.float64)
        else:
            offsets = np.zeros(12)
        for index in _matching(name.strip(), parts):
            found[index] = offsets
    return found


def _matching(name: str, parts: Sequence[Part]) -> list[int]:
    pitched = [part for part in parts if not part.is_percussion]
    programs = _PROGRAMS.match(name)
    if programs:
        low = int(programs[1])
        high = int(programs[2] or low)
        return [part.index for part in pitched if low <= part.program <= high]
    named = [part.index for part in pitched if part.name.casefold() == name.casefold()]
    if named:
        return named
    if name.isdigit() and 1 <= int(name) <= len(parts):
        return [parts[int(name) - 1].index]
    near = difflib.get_close_matches(name, [part.name for part in pitched], n=1, cutoff=0.4)
    hint = f"; did you mean {near[0]!r}?" if near else ""
    names = ", ".join(f"{part.index + 1} {part.name}" for part in pitched)
    raise OptionError(f"fixed: there is no part {name!r} (parts: {names}){hint}")


def given_offsets(score: Score, harmony: Harmony, fixed: Mapping[int, Floats]) -> Floats:
    """(n_pieces,) offset of each piece of a fixed part [cents], nan for pieces that are free."""
    given = np.full(len(harmony.pieces), np.nan)
    if not fixed:
        return given
    note = harmony.pieces["note"]
    part, key = score.notes["part"][note], score.notes["key"][note]
    for index, offsets in fixed.items():
        mine = part == index
        given[mine] = offsets[key[mine] % 12]
    return given

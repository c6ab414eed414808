"""Which parts somebody means by a name, the beginning of one, a number, or a range of programs."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from retune.errors import OptionError
from retune.wording import nearest, plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from retune.score.model import Part

_PROGRAMS = re.compile(r"program:(\d{1,3})(?:-(\d{1,3}))?")
LAST_PROGRAM = 127  # MIDI 1.0 Detailed Specification 4.2.1, program change: seven bits

LIKENESS = 0.7  # of a name to be proposed: Soprano for Piano (0.67) would be a guess at random


def parts_meant(text: str, parts: Sequence[Part], *, what: str = "part") -> tuple[int, ...]:
    """Return the pitched parts meant by a text, in order.

    A text is a part's name or the unique beginning of one (case does not matter), its number from 1, or
    `program:0-7` for all parts whose General MIDI program lies in that range. Errors begin with `what`.

    Raises `OptionError` for a text that means no part, parts of several names, or percussion.
    """
    text = text.strip()
    if text.casefold().startswith("program:"):
        return _of_programs(text, parts, what)
    found = _named(text, parts, what) or _numbered(text, parts)
    if not found:
        raise _nobody(text, parts, what, "no such part")
    pitched = tuple(part.index for part in found if not part.is_percussion)
    if not pitched:
        raise OptionError(f"{what} {plain(found[0].name)!r}: percussion has no tuning; name a pitched part")
    return pitched


def programs_in(text: str) -> range | None:
    """Return the programs of a text such as `program:0-7`, or None if it is none or they are none."""
    match = _PROGRAMS.fullmatch(text.strip().casefold())
    if match is None:
        return None
    first, last = int(match[1]), int(match[2] or match[1])
    return range(first, last + 1) if first <= last <= LAST_PROGRAM else None


def _of_programs(text: str, parts: Sequence[Part], what: str) -> tuple[int, ...]:
    programs = programs_in(text)
    if programs is None:
        raise OptionError(
            f"{what} {plain(text)!r}: not a program from 0 to {LAST_PROGRAM}, nor a range such as program:0-7"
        )
    found = tuple(part.index for part in parts if part.program in programs and not part.is_percussion)
    if not found:
        raise _nobody(text, parts, what, "no pitched part has such a program")
    return found


def _named(text: str, parts: Sequence[Part], what: str) -> list[Part]:
    folded = text.casefold()
    exact = [part for part in parts if part.name.casefold() == folded]
    if exact or not folded or text.isdecimal():
        return exact
    found = [part for part in parts if part.name.casefold().startswith(folded)]
    names = list(dict.fromkeys(plain(part.name) for part in found))
    if len(names) > 1:
        raise OptionError(
            f"{what} {plain(text)!r}: several names begin so ({', '.join(names)}); say more of the one you mean"
        )
    return found


def _numbered(text: str, parts: Sequence[Part]) -> list[Part]:
    number = int(text) if text.isdecimal() and len(text) < 6 else 0
    return [parts[number - 1]] if 1 <= number <= len(parts) else []


def _nobody(text: str, parts: Sequence[Part], what: str, why: str) -> OptionError:
    names = [plain(part.name) for part in parts]
    listed = ", ".join(f"{number} {name}" for number, name in enumerate(names, start=1))
    return OptionError(
        f"{what} {plain(text)!r}: {why}{nearest(text, names, likeness=LIKENESS)}; the parts are {listed}"
    )

"""What each result was made from, in the syntax of make, so that build scripts redo what has changed.

A rule a result: `pure/hymn.mid: hymn.mid plan.toml`, and an empty one for each file it was made from, without which
make would stop when such a file is deleted. Names are escaped as GNU make reads them (GNU make
manual, "Rule Syntax" and "Using Wildcard Characters in File Names").
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence

from retune.errors import OutputError
from retune.wording import plain

_UNSPEAKABLE = re.compile(r"[\n\r\t;=]")
"""Characters for which make has no escape in a rule (tried with GNU make 4.3)."""

_IN_TARGETS = re.compile(r"(\\*)([ #:*?\[%])")
_IN_SOURCES = re.compile(r"(\\*)([ #:*?\[|])")
_DRIVE = re.compile(r"[A-Za-z]:(?=[\\/])")


def depfile(rules: Iterable[tuple[Sequence[str], Sequence[str]]]) -> bytes:
    """Return the text of a depfile from (results, what they were made from); ordered, in the system's encoding.

    Raises `OutputError` for a name that a rule cannot hold.
    """
    rules = sorted((tuple(targets), tuple(dict.fromkeys(sources))) for targets, sources in rules)
    lines = [
        f"{_names(targets, _IN_TARGETS)}: {_names(sources, _IN_SOURCES)}".rstrip()
        for targets, sources in rules
    ]
    made = {target for targets, _ in rules for target in targets}
    given = {source for _, sources in rules for source in sources}
    lines += [f"{_names([source], _IN_TARGETS)}:" for source in sorted(given - made)]
    return os.fsencode("".join(line + "\n" for line in lines))


def refuse_unspeakable(names: Iterable[str]) -> None:
    """Raise `OutputError` for a name that a rule of make cannot hold."""
    for name in names:
        if found := _UNSPEAKABLE.search(name):
            raise OutputError(
                f"{plain(name)}: make has no way to write {found[0]!r} in a name; rename the file, or go without "
                "--depfile"
            )


def _names(names: Iterable[str], special: re.Pattern[str]) -> str:
    return " ".join(_escaped(name, special) for name in names)


def _escaped(name: str, special: re.Pattern[str]) -> str:
    """Return a name as a rule holds it: `$` doubled, a backslash before what make reads as more than a letter.

    Backslashes that stand before such a character are doubled; any other is left as it is. The colon of a
    drive needs none.
    """
    refuse_unspeakable([name])
    drive = match[0] if (match := _DRIVE.match(name)) else ""
    rest = special.sub(lambda m: m[1] * 2 + "\\" + m[2], name[len(drive) :].replace("$", "$$"))
    return ("./" if name.startswith("~") else "") + drive + rest

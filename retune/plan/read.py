"""Read a plan file: TOML text → `Plan`."""

from __future__ import annotations

import os
import tomllib
from typing import TYPE_CHECKING, Any, TypeVar

from retune.errors import PlanError
from retune.files import read_input
from retune.harmony.vocabulary import CHORD_TYPES, INDEX_OF_SYMBOL
from retune.plan.model import Plan, PlanSource, PlanWindow, Section, Tones
from retune.plan.words import (
    parse_bars,
    parse_chord,
    parse_chord_type,
    parse_limit,
    parse_pitch_class,
    parse_place,
    parse_ratios,
    parse_tones,
)
from retune.toml_lines import place_of
from retune.wording import nearest, plain

if TYPE_CHECKING:
    from collections.abc import Callable

PLAN_FORMAT = 1
"""Number of the plan's own format, raised when its meaning changes."""

TOP_FIELDS = ("format", "fixed", "ratios", "sections", "windows")
WINDOW_FIELDS = ("at", "to", "root", "chord", "tones", "bass", "ratios")
SECTION_FIELDS = ("bars", "drift_limit", "hold_limit")

Path = tuple[str | int, ...]
T = TypeVar("T")


def read_plan(text: str, *, name: str = "plan") -> Plan:
    """Read the text of a plan file.

    Raises `PlanError`, naming file, line and field, for anything that cannot be obeyed as written.
    Places beyond the end of a score are only known later: see `retune.plan.apply`.
    """
    source = PlanSource(plain(name), text)
    content = _parse_toml(source)
    _known_fields(source, (), content, TOP_FIELDS)
    if content.get("format", PLAN_FORMAT) != PLAN_FORMAT:
        raise source.error(("format",), f"this retune reads plans of format {PLAN_FORMAT}")
    return Plan(
        windows=tuple(_window(source, i, row) for i, row in _rows(source, content, "windows")),
        for_chord=_for_chord(source, content),
        sections=tuple(_section(source, i, row) for i, row in _rows(source, content, "sections")),
        fixed=_fixed(source, content),
        source=source,
    )


def read_plan_file(path: str | os.PathLike[str]) -> Plan:
    """Read a plan file. Raises `PlanError` as `read_plan` does, and `InputError` if it cannot be read."""
    name = os.fspath(path)
    try:
        text = read_input(name).decode("utf-8")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise PlanError(f"{plain(name)}, line {line}: not UTF-8 text; save the plan as UTF-8") from None
    return read_plan(text, name=name)


def _parse_toml(source: PlanSource) -> dict[str, Any]:
    try:
        return tomllib.loads(source.text)
    except tomllib.TOMLDecodeError as error:
        line, column, reason = place_of(error, source.text)
        raise PlanError(f"{source.name}, line {line}, column {column}: {reason}") from None


def _known_fields(source: PlanSource, path: Path, table: dict[str, Any], legal: tuple[str, ...]) -> None:
    for field in table:
        if field not in legal:
            hint = nearest(field, legal) or f"; known: {', '.join(legal)}"
            raise source.error((*path, field), f"no such field{hint}")


def _rows(source: PlanSource, content: dict[str, Any], name: str) -> list[tuple[int, dict[str, Any]]]:
    rows = content.get(name, [])
    if not isinstance(rows, list):
        raise source.error((name,), "must be a list of rows")
    for i, row in enumerate(rows):
        if not isinstance(row, dict):
            raise source.error((name, i), "must be a row in braces")
    return list(enumerate(rows))


def _value(source: PlanSource, path: Path, parse: Callable[[object], T], value: object) -> T:
    try:
        return parse(value)
    except ValueError as error:
        raise source.error(path, str(error)) from None


def _window(source: PlanSource, index: int, row: dict[str, Any]) -> PlanWindow:
    path: Path = ("windows", index)
    _known_fields(source, path, row, WINDOW_FIELDS)
    if "at" not in row:
        raise source.error(path, 'needs at = "bar.beat"')
    for needs_root in ("chord", "tones", "bass"):
        if needs_root in row and "root" not in row:
            raise source.error((*path, needs_root), "needs a root in the same row")
    if "root" not in row and "ratios" not in row:
        raise source.error(path, "needs a root with a chord or tones, or ratios")
    if "root" in row and "chord" not in row and "tones" not in row:
        raise source.error((*path, "root"), "needs a chord or tones in the same row")

    def optional(field: str, parse: Callable[[object], T]) -> T | None:
        return _value(source, (*path, field), parse, row[field]) if field in row else None

    start = _value(source, (*path, "at"), parse_place, row["at"])
    end = optional("to", parse_place)
    if end is not None and end <= start:
        raise source.error((*path, "to"), f"{row['to']!r} is not after the start {row['at']!r}")
    root = optional("root", parse_pitch_class)
    chord, members = optional("chord", parse_chord) or ("", None)
    ratios = optional("ratios", parse_ratios) or {}
    if chord and members is None and "tones" not in row:
        _belong(source, (*path, "ratios"), ratios, chord)
    return PlanWindow(
        index=index,
        start=start,
        end=end,
        root_pc=root,
        chord=chord,
        members=optional("tones", lambda text: parse_tones(text, root or 0)) or members,
        bass_pc=optional("bass", parse_pitch_class),
        ratios=ratios,
    )


def _for_chord(source: PlanSource, content: dict[str, Any]) -> dict[str, Tones]:
    table = content.get("ratios", {})
    if not isinstance(table, dict):
        raise source.error(("ratios",), "must be a table of chord types and their ratios")
    kinds = {written: _value(source, ("ratios", written), parse_chord_type, written) for written in table}
    found: dict[str, Tones] = {}
    for written, text in table.items():
        path, kind = ("ratios", written), kinds[written]
        if kind in found:
            raise source.error(path, f"the ratios of {kind} are given a second time")
        found[kind] = _value(source, path, parse_ratios, text)
        _belong(source, path, found[kind], kind)
    return found


def _belong(source: PlanSource, path: Path, tones: Tones, symbol: str) -> None:
    """Refuse a ratio for a tone that the chord type does not have: most often a slip, 27/20 for 5/4."""
    kind = CHORD_TYPES[INDEX_OF_SYMBOL[symbol]]
    for step, (top, bottom) in tones.items():
        if step not in kind.intervals:
            steps = " ".join(map(str, kind.intervals))
            message = (
                f"{top}/{bottom} is nearest to semitone {step}, which {symbol} (semitones {steps}) has not"
            )
            raise source.error(path, message)


def _section(source: PlanSource, index: int, row: dict[str, Any]) -> Section:
    path: Path = ("sections", index)
    _known_fields(source, path, row, SECTION_FIELDS)
    if "bars" not in row:
        raise source.error(path, 'needs bars = "first-last"')
    first, last = _value(source, (*path, "bars"), parse_bars, row["bars"])
    limits = {
        name: _value(source, (*path, name), parse_limit, row[name])
        for name in ("drift_limit", "hold_limit")
        if name in row
    }
    if not limits:
        raise source.error(path, "needs a drift_limit or a hold_limit")
    return Section(
        index=index,
        first_bar=first,
        last_bar=last,
        drift_limit_cents=limits.get("drift_limit"),
        hold_limit_cents=limits.get("hold_limit"),
    )


def _fixed(source: PlanSource, content: dict[str, Any]) -> tuple[str, ...]:
    parts = content.get("fixed", [])
    if not isinstance(parts, list) or not all(type(part) in (str, int) for part in parts):
        raise source.error(("fixed",), 'must be a list of parts, like ["Piano", 3]')
    return tuple(map(str, parts))

"""Write what an analysis decided as a plan file: one row a window, comments saying what may be edited."""

from __future__ import annotations

import json
import textwrap
from collections import Counter, defaultdict
from typing import TYPE_CHECKING

from retune.harmony.spelling import root_name, spell, spell_in_chord
from retune.harmony.vocabulary import CHORD_TYPES
from retune.plan.apply import chord_symbol
from retune.plan.read import PLAN_FORMAT
from retune.plan.words import format_place, format_ratios
from retune.wording import plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np

    from retune.harmony.model import Harmony
    from retune.ratios.model import Ratios
    from retune.score.model import Score

Row = dict[str, str]
"""Field → value of one window, in the order of writing."""

_TEXT = """\
# Plan for {name}
#
# Edit what you like and have it obeyed:   retune convert {name} -o OUTPUT --plan THIS-FILE{arguments}
# Keep only the rows you care about if you wish: what is not here is decided anew.
# Places are bar.beat: "17.3" is bar 17, beat 3, and "17.3.5" half a beat later.

format = {format}

# Parts whose tuning must not be touched, by name, number or program, like ["Piano", "3", "program:0-7"].
{parts}
fixed = []

# Limits [cents] for a stretch of bars, a row each; "none" lifts a limit. For example:
#   {{bars = "17-24", drift_limit = 0, hold_limit = "none"}},
sections = [
]

# Ratios above the root, by chord type: edit a line and every chord of that type follows it.
{ratios}

# The windows: from `at` to `to`, root, chord type and bass. To give one window ratios of its own, add them to
# its row: ratios = "1 6/5 3/2". For a chord without a name write its tones instead: tones = "C E G".
{chords}
windows = [
{windows}]
"""


def write_plan(
    score: Score, harmony: Harmony, ratios: Ratios, *, name: str = "input", arguments: str = ""
) -> str:
    """Return the text of a plan that says exactly what the analysis decided.

    `arguments` are the options it was made with, to be given again when it is obeyed.
    """
    rows = [_row(score, harmony, ratios, window) for window in range(len(harmony.windows))]
    usual = _usual_ratios(rows)
    for row in rows:
        if usual.get(row.get("chord", "")) == row["ratios"]:
            del row["ratios"]
    parts = [f"{part.index + 1} {plain(part.name)}" for part in score.parts]
    return _TEXT.format(
        name=plain(name),
        arguments=f" {plain(arguments)}" if arguments else "",
        format=PLAN_FORMAT,
        parts=_comment(f"The parts of this piece: {', '.join(parts) or 'none'}."),
        ratios="\n".join(f"ratios.{_key(symbol)} = {_quoted(text)}" for symbol, text in usual.items()),
        chords=_comment("Chord types: " + ", ".join(chord.symbol for chord in CHORD_TYPES) + "."),
        windows="".join(f"  {line}\n" for line in _aligned(rows)),
    )


def _row(score: Score, harmony: Harmony, ratios: Ratios, window: int) -> Row:
    found = harmony.windows[window]
    key = harmony.key_at(int(found["start_tick"]))
    root, members = int(found["root_pc"]), int(found["members"])
    steps = [s for s in range(12) if members >> s & 1]
    row = {
        "at": format_place(score.meters, int(found["start_tick"])),
        "to": format_place(score.meters, int(found["end_tick"])),
        "root": root_name(found, key),
    }
    symbol = chord_symbol(harmony, window)
    if symbol:
        row["chord"] = symbol
    if members != _members_of(symbol):
        row["tones"] = " ".join(_name(root + s, key) for s in steps)
    row["bass"] = spell_in_chord(int(found["bass_pc"]), found, key)
    pairs = ratios.tables[ratios.table_of_window[window]].pairs
    row["ratios"] = format_ratios({s: pairs[s] for s in steps})
    return row


def _name(pc: int, key: np.void) -> str:
    return spell(pc % 12, int(key["fifths"]), minor=bool(key["minor"]))


def _members_of(symbol: str) -> int:
    return next((chord.members for chord in CHORD_TYPES if chord.symbol == symbol), 0)


def _usual_ratios(rows: Sequence[Row]) -> dict[str, str]:
    """Return the most frequent ratios of each chord type, in the order of the vocabulary."""
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    for row in rows:
        if "chord" in row and "tones" not in row:
            counts[row["chord"]][row["ratios"]] += 1
    return {
        chord.symbol: counts[chord.symbol].most_common(1)[0][0]
        for chord in CHORD_TYPES
        if chord.symbol in counts
    }


def _comment(text: str) -> str:
    return textwrap.fill(text, width=108, initial_indent="# ", subsequent_indent="#   ")


def _aligned(rows: Sequence[Row]) -> list[str]:
    """Return rows in braces, padded so that the fields every row has stand under each other."""
    fields = ("at", "to", "root", "chord", "bass")
    shared = [field for field in fields if rows and all(field in row for row in rows)]
    width = {field: max(len(_quoted(row[field])) for row in rows) for field in shared}
    lines = []
    for row in rows:
        cells = [
            f"{field} = {_quoted(value) + ',':<{width.get(field, 0) + 1}}" for field, value in row.items()
        ]
        lines.append("{" + " ".join(cells).rstrip(", ") + "},")
    return lines


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)  # a JSON string is a TOML basic string


def _key(symbol: str) -> str:
    return symbol if symbol.isascii() and symbol.isalnum() and not symbol[0].isdigit() else _quoted(symbol)

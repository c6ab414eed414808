"""The whole chord table for people: rows with cents, as values and as the page docs/ratios.md.

`python -m retune.ratios.document` prints the page.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import lcm

from retune.harmony.vocabulary import CHORD_TYPES, ChordType
from retune.options import PRIME_LIMITS
from retune.ratios.choose import chord_tones
from retune.ratios.table import SOURCES, row_for
from retune.units import ratio_to_cents

RULE = "least harmonic distance"
_PAGE = """# Ratios

Every chord is tuned by one row of the table below. Tones are given as ratios above the root with, in
brackets, the cents to add to a tuner's zero when the root stands at zero (− is flat). This page is printed by
`python -m retune.ratios.document`; the rows live in `retune/ratios/table.py`.

## How ratios are chosen

1. The row of the chord type with the largest prime limit that is not above yours (`--prime-limit`, 5 unless
   you say otherwise). 5 gives pure thirds and fifths; 3 pure fifths only (Pythagorean); 7 adds the harmonic
   seventh, 11 and 13 the next harmonics where a chord has a place for them.
2. “{rule}” as the reason means no row names the chord: all ratios within the prime limit are
   tried for its tones, and those with the least sum of log2(n·d) over all pairs are taken (harmonic distance:
   J. Tenney, *John Cage and the Theory of Harmony*, 1983). A chord without a name is tuned in the same way.
3. Notes that do not belong to the chord take the ratio that agrees best with the chord's tones, by the same
   sum over the pairs they form with them.
4. Ratios of your own, in a plan, come before all of this.

A chord has the same ratios in every inversion and voicing. Where no source is named, every third, fourth,
fifth and sixth inside the chord is pure if that is possible at once, otherwise as many of them as possible.

The augmented sixths (A♭ C F♯, A♭ C E♭ F♯, A♭ C D F♯ before G) sound like sevenths and are told by where they go
([how](harmony.md)). At prime limit 5 their tones are those of the key: A♭ 8/5, C 1, E♭ 6/5, D 9/8 and F♯ 45/32, the
leading note 15/8 of the dominant 3/2. A♭–F♯ is then 225/128, 23.46 cents narrower than in equal temperament, and F♯
rises to G by 16/15. From prime limit 7 on it is 7/4, another 7.71 cents narrower. Both are choices (common practice,
no source).

Sources named in the table:

{sources}

## The table

| chord | symbol | prime limit | integers | tones | reason or source |
|---|---|---|---|---|---|
{rows}
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class TableRow:
    """How a chord type sounds from one prime limit upwards."""

    symbol: str
    name: str
    prime_limit: int  # the smallest limit at which the row holds
    integers: str  # "4:5:6", root first
    steps: tuple[int, ...]  # semitones above the root
    tones: tuple[str, ...]  # "5/4", one a step
    cents: tuple[float, ...]  # above the root, one a step
    deviations: tuple[float, ...]  # cents to add to equal temperament on the root, one a step
    source: str


def rows() -> tuple[TableRow, ...]:
    """List the whole table: every chord type, with a row for each prime limit at which its tuning changes."""
    found = []
    for chord, kind in enumerate(CHORD_TYPES):
        before = None
        for prime_limit in PRIME_LIMITS:
            tones = chord_tones(chord, prime_limit)
            if tones != before:
                found.append(_row(kind, prime_limit, tones))
            before = tones
    return tuple(found)


def _row(kind: ChordType, prime_limit: int, tones: dict[int, tuple[int, int]]) -> TableRow:
    """Make the readable row of one chord type at one prime limit."""
    written = row_for(kind.symbol, prime_limit)
    cents = {step: ratio_to_cents(*pair) for step, pair in tones.items()}
    common = lcm(*(denominator for _, denominator in tones.values()))
    return TableRow(
        symbol=kind.symbol,
        name=kind.name,
        prime_limit=prime_limit,
        integers=written.integers if written else ":".join(str(n * common // d) for n, d in tones.values()),
        steps=tuple(tones),
        tones=tuple(f"{n}/{d}" if d > 1 else f"{n}" for n, d in tones.values()),
        cents=tuple(cents.values()),
        deviations=tuple(size - 100.0 * step for step, size in cents.items()),
        source=written.source if written else RULE,
    )


def page() -> str:
    """Write docs/ratios.md."""
    sources = "\n".join(f"- {name}: {full}." for name, full in SOURCES.items())
    lines = []
    for row in rows():
        tones = ", ".join(
            f"{tone} ({_signed(cents)})"
            for tone, cents in zip(row.tones[1:], row.deviations[1:], strict=True)
        )
        lines.append(
            f"| {row.name} | `{row.symbol}` | {row.prime_limit} | {row.integers} | {tones} | {row.source} |"
        )
    return _PAGE.format(rule=RULE, sources=sources, rows="\n".join(lines))


def _signed(cents: float) -> str:
    """Write cents with two decimals and a typographic sign."""
    return f"{'−' if cents < 0 else '+'}{abs(cents):.2f}"


if __name__ == "__main__":
    print(page(), end="")

"""Chords to tune slowly: which ones, in which order the voices come in, and what to listen for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.constants import OCTAVE_CENTS
from retune.harmony.model import Role
from retune.harmony.spelling import root_name
from retune.parts.model import SlowChord, Voice
from retune.parts.names import chord_tone, chord_words, degree, pitch
from retune.units import key_to_hz, ratio_to_cents, reference_shift_cents
from retune.wording import plain

if TYPE_CHECKING:
    from collections.abc import Iterator

    from retune.harmony.model import Harmony
    from retune.ratios.model import Ratios
    from retune.score.model import Score
    from retune.tuning.model import Tuning

IntArray = NDArray[np.int64]

MOST_VOICES = 128  # of a chord that is built up voice by voice; each listens to all before it
ROUGH_BEATS = 15.0  # beats above this are heard as roughness rather than counted (common practice, no source)
_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
INTERVAL_NAMES = (
    "unison", "minor second", "major second", "minor third", "major third", "fourth", "tritone", "fifth",
    "minor sixth", "major sixth", "minor seventh", "major seventh",
)  # fmt: skip
PURE_CENTS = 1.5
"""An interval this near to its ratio may be told to stand still: at most a slow beat (judgement, no source)."""
_LATE_DEGREES = {"third": 3, "seventh": 4}  # after bass 0, fifth 1 and octave 2; all others last


def beat_rate(lower_hz: float, ratio: tuple[int, int], off_cents: float) -> float:
    """Return beats per second of two tones `off_cents` away from the ratio n/m (upper over lower).

    Partial n of the lower meets partial m of the upper: n·f·|2^(x/1200) − 1| (Helmholtz, *On the Sensations
    of Tone*, 1885, ch. VIII: beats of coinciding partials).
    """
    return ratio[0] * lower_hz * abs(math.exp2(off_cents / OCTAVE_CENTS) - 1.0)


def slow_chords(
    score: Score, harmony: Harmony, ratios: Ratios, tuning: Tuning, count: int, reference_hz: float
) -> tuple[SlowChord, ...]:
    """Return up to `count` chords in order of time: the longest of each kind, then more of the longest.

    Chords that the tuning has pure go before others: only they can be tuned by ear alone.
    """
    full: list[tuple[int, IntArray]] = []
    again: list[tuple[int, IntArray]] = []
    seen: set[tuple[int, int]] = set()
    for window, notes in _sounding_best_first(score, harmony, ratios, tuning):
        row = harmony.windows[window]
        kind = (int(row["root_pc"]), int(row["chord"]))
        (again if kind in seen else full).append((window, notes))
        seen.add(kind)
    chosen = sorted((full + again)[:count], key=lambda item: item[0])
    shift = reference_shift_cents(reference_hz)
    return tuple(
        _slow_chord(score, harmony, ratios, tuning, window, notes, shift) for window, notes in chosen
    )


def _sounding_best_first(
    score: Score, harmony: Harmony, ratios: Ratios, tuning: Tuning
) -> Iterator[tuple[int, IntArray]]:
    """Yield windows of named chords with the chord tones that sound in their middle, three or more.

    Pure ones come first, longer ones before shorter ones.
    """
    windows, pieces = harmony.windows, harmony.pieces
    middle = ((windows["start_tick"] + windows["end_tick"]) // 2)[pieces["window"]]
    here = (pieces["start_tick"] <= middle) & (pieces["end_tick"] > middle) & (pieces["role"] == Role.CHORD)
    here = np.flatnonzero(here)
    here = here[np.argsort(pieces["window"][here], kind="stable")]
    bounds = np.searchsorted(pieces["window"][here], np.arange(len(windows) + 1))
    note, window_of = pieces["note"][here].astype(np.int64), pieces["window"][here]
    step = (score.notes["key"][note].astype(np.int64) - windows["root_pc"][window_of]) % 12
    root_cents = tuning.at(note, middle[here]) - ratios.deviations[window_of, step]
    spread = np.full(len(windows), np.inf)  # how far the roots lie apart that the tones of a chord point to
    full = np.flatnonzero(np.diff(bounds))
    if len(full):
        top, bottom = (edge.reduceat(root_cents, bounds[:-1][full]) for edge in (np.maximum, np.minimum))
        spread[full] = top - bottom
    length = windows["end_tick"] - windows["start_tick"]
    for window in np.lexsort((-length, spread > PURE_CENTS)):
        notes = note[bounds[window] : bounds[window + 1]]
        named = windows["chord"][window] >= 0
        if named and len(notes) <= MOST_VOICES and len(np.unique(score.notes["key"][notes] % 12)) >= 3:
            yield int(window), notes


@dataclass(frozen=True, slots=True)
class _Built:
    """A chord while it is built up; arrays hold one value a voice, `order` is the order of coming in."""

    keys: IntArray
    cents: NDArray[np.float64]
    names: tuple[str, ...]
    order: tuple[int, ...]
    root: int
    pairs: tuple[tuple[int, int], ...]  # ratios above the root

    def ratio(self, a: int, b: int) -> tuple[int, int]:
        """Return the pure ratio of two voices, upper over lower."""
        lower, upper = sorted((a, b), key=lambda i: int(self.keys[i]))
        low, high = (self.pairs[int(self.keys[i] - self.root) % 12] for i in (lower, upper))
        return interval_ratio(low, high, int(self.keys[upper] - self.keys[lower]))

    def off(self, a: int, b: int) -> float:
        """Return how much wider than that ratio the tuning has the two voices [cents]."""
        lower, upper = sorted((a, b), key=lambda i: int(self.keys[i]))
        size = 100.0 * (self.keys[upper] - self.keys[lower]) + self.cents[upper] - self.cents[lower]
        return float(size) - ratio_to_cents(*self.ratio(a, b))


def _slow_chord(
    score: Score, harmony: Harmony, ratios: Ratios, tuning: Tuning, window: int, notes: IntArray, shift: float
) -> SlowChord:
    row = harmony.windows[window]
    root, chord = int(row["root_pc"]), int(row["chord"])
    name = root_name(row, harmony.key_at(int(row["start_tick"])))
    middle = int(row["start_tick"] + row["end_tick"]) // 2
    keys = score.notes["key"][notes].astype(np.int64)
    built = _Built(
        keys=keys,
        cents=tuning.at(notes, np.full(len(notes), middle)),
        names=tuple(plain(score.parts[part].name) for part in score.notes["part"][notes]),
        order=tuple(sorted(range(len(notes)), key=lambda i: _place(keys, i, root, chord))),
        root=root,
        pairs=ratios.tables[ratios.table_of_window[window]].pairs,
    )
    voices = tuple(
        Voice(
            part=built.names[i],
            pitch=pitch(int(keys[i]), chord_tone(name, int(keys[i] - root) % 12, chord)),
            cents=round(float(built.cents[i] - shift)),
            degree=degree(int(keys[i] - root) % 12, chord),
            hint=_hint(built, turn),
        )
        for turn, i in enumerate(built.order)
    )
    bar, beat = score.meters.spoken(int(row["start_tick"]))
    return SlowChord(bar=int(bar), beat=float(beat), name=chord_words(name, chord), voices=voices)


def _place(keys: IntArray, i: int, root: int, chord: int) -> tuple[int, int]:
    """Return the sorting key of a voice: bass, fifth, octave, third, seventh, the rest; low before high."""
    name = degree(int(keys[i] - root) % 12, chord)
    if keys[i] == keys.min():
        return 0, int(keys[i])
    return {"fifth": 1, "root": 2, **_LATE_DEGREES}.get(name, 5), int(keys[i])


def _hint(chord: _Built, turn: int) -> str:
    """Return what the voice that comes in at `turn` listens to, and hears while still on piano pitch."""
    mine = chord.order[turn]
    if turn == 0:
        return "hold it steady; all others tune to it"
    ratios = {other: chord.ratio(mine, other) for other in chord.order[:turn]}
    pure = [other for other in ratios if abs(chord.off(mine, other)) <= PURE_CENTS]
    partner = min(pure or ratios, key=lambda other: ratios[other][0] * ratios[other][1])
    distance = int(chord.keys[mine] - chord.keys[partner])
    who, (n, m) = chord.names[partner], ratios[partner]
    interval = f"{_interval_words(abs(distance))} {'above' if distance > 0 else 'below'} {who}"
    if not pure:
        off = chord.off(mine, partner)
        return (
            f"go by the number: here it stays {abs(off):.0f} cents "
            f"{'wider' if off > 0 else 'narrower'} than a pure {interval} ({n}:{m})"
        )
    if distance == 0:
        return f"same pitch as {who}: one sound, no beats"
    target = f"pure {interval} ({n}:{m})"
    wide = 100.0 * abs(distance) - ratio_to_cents(n, m)
    if abs(wide) < 0.5:
        return f"{target}: no beats"
    lower = mine if distance < 0 else partner
    hz = key_to_hz(float(chord.keys[lower]), float(chord.cents[lower]))
    rate = beat_rate(hz, (n, m), wide)
    heard = "sounds rough" if rate > ROUGH_BEATS else f"beats {rate:.1f} times a second"
    side = "high" if (wide > 0) == (distance > 0) else "low"
    return f"{target}. At piano pitch it is {abs(wide):.0f} cents too {side} and {heard}; move until it stands still"


def _interval_words(semitones: int) -> str:
    """Return the name of an interval: "fifth", "octave and major third"."""
    octaves, rest = divmod(semitones, 12)
    if semitones == 0:
        return "unison"
    if rest == 0:
        return "octave" if octaves == 1 else f"{_COUNTS[octaves]} octaves"
    above = "octave and " if octaves == 1 else f"{_COUNTS[octaves]} octaves and " if octaves else ""
    return above + INTERVAL_NAMES[rest]


def interval_ratio(lower: tuple[int, int], upper: tuple[int, int], semitones: int) -> tuple[int, int]:
    """Return the ratio upper:lower in lowest terms, given both above one root and their distance in keys."""
    n, m = upper[0] * lower[1], upper[1] * lower[0]
    octaves = round((100.0 * semitones - ratio_to_cents(n, m)) / OCTAVE_CENTS)
    n, m = (n << octaves, m) if octaves >= 0 else (n, m << -octaves)
    common = math.gcd(n, m)
    return n // common, m // common

"""The single values of a plan, read and written: places, note names, ratios, limits."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from retune.errors import OptionError
from retune.harmony.chord_symbols import parse_kind
from retune.harmony.vocabulary import INDEX_OF_SYMBOL
from retune.note_names import pitch_class_of
from retune.options import MOST_LIMIT_CENTS
from retune.ratios.parse import parse_tones as parse_tones_of_chord
from retune.wording import nearest

if TYPE_CHECKING:
    from retune.plan.model import Place, Tones
    from retune.score.model import Meters


def parse_place(text: object) -> Place:
    """Read `17.3` (bar 17, beat 3) or `17.3.5` (beat 3 and a half). Raises `ValueError`."""
    match = re.fullmatch(r"(\d+)(?:\.(\d+(?:\.\d+)?))?", text.strip()) if isinstance(text, str) else None
    if not match:
        raise ValueError(f'{text!r} is not a place; write bar.beat in quotes, like "17.3" or "17.3.5"')
    bar, beat = int(match[1]), float(match[2] or 1)
    if bar < 1 or beat < 1:
        raise ValueError(f"{text!r}: bars and beats count from 1")
    return bar, beat


def format_place(meters: Meters, tick: int) -> str:
    """Return the shortest bar.beat text that leads back to exactly this tick."""
    bars, beats = meters.bar_beat(tick)
    bar, beat = int(bars), float(beats)
    for digits in range(9):
        text = f"{bar}.{beat:.{digits}f}"
        if meters.tick_of(*parse_place(text)) == tick:
            return text
    return f"{bar}.{beat!r}"


def parse_pitch_class(text: object) -> int:
    """Read a note name such as `C`, `F#`, `B♭` as a pitch class. Raises `ValueError`."""
    found = pitch_class_of(text) if isinstance(text, str) else None
    if found is None:
        raise ValueError(f"{text!r} is not a note name; write a letter A to G with # or b, like F# or Bb")
    return found


def parse_chord(text: object) -> tuple[str, int | None]:
    """Read a chord type by its own name, `min7`, or as lead sheets write it, `m7`, `7b13`.

    With it the tones as a bit mask where they are not those of the chord type. Raises `ValueError`.
    """
    found = parse_kind(text) if isinstance(text, str) and text.strip() else None
    if found is None:
        hint = nearest(str(text), INDEX_OF_SYMBOL) or f"; known: {', '.join(INDEX_OF_SYMBOL)}"
        raise ValueError(f"no such chord type {text!r}{hint}")
    return found


def parse_chord_type(text: object) -> str:
    """Read a chord type of the table. Raises `ValueError` for others, such as `7b13`."""
    symbol, members = parse_chord(text)
    if members is not None:
        raise ValueError(
            f"{text!r} is no chord type of the table; nearest: {symbol or 'give tones in a row'}"
        )
    return symbol


def parse_tones(text: object, root_pc: int) -> int:
    """Read `C E G` as a bit mask of semitones above the root; the root is always in. Raises `ValueError`."""
    if not isinstance(text, str) or not text.split():
        raise ValueError(f'{text!r} is not a list of tones; write note names in quotes, like "C E G"')
    mask = 1
    for name in text.split():
        mask |= 1 << (parse_pitch_class(name) - root_pc) % 12
    return mask


def parse_ratios(text: object) -> Tones:
    """Read `1 5/4 3/2` or `4:5:6` as semitone above the root → ratio. Raises `ValueError`."""
    if not isinstance(text, str):
        raise ValueError(f'{text!r} is not a list of ratios; write them in quotes, like "1 5/4 3/2"')
    try:
        return parse_tones_of_chord(text)
    except OptionError as error:
        raise ValueError(str(error)) from None


def format_ratios(tones: Tones) -> str:
    """Return `1 5/4 3/2`, as `parse_ratios` reads it."""
    return " ".join(str(n) if d == 1 else f"{n}/{d}" for _, (n, d) in sorted(tones.items()))


def parse_limit(value: object) -> float:
    """Read a limit [cents]: a number from 0 to an octave, or "none". Raises `ValueError`."""
    if value == "none":
        return math.inf
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= MOST_LIMIT_CENTS:
        raise ValueError(f'{value!r} is not a number of cents from 0 to {MOST_LIMIT_CENTS:g}, or "none"')
    return float(value)


def parse_bars(text: object) -> tuple[int, int]:
    """Read `17-24` or `17` as first and last bar, both included. Raises `ValueError`."""
    match = re.fullmatch(r"(\d+)\s*(?:[-–]\s*(\d+))?", text.strip()) if isinstance(text, str) else None
    if not match:
        raise ValueError(f'{text!r} is not a stretch of bars; write it in quotes, like "17-24"')
    first, last = int(match[1]), int(match[2] or match[1])
    if first < 1 or last < first:
        raise ValueError(f"{text!r}: bars count from 1, the first before the last")
    return first, last

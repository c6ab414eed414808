"""The single values of a plan, read and written: places, note names, ratios, limits."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from retune.units import ratio_to_cents

if TYPE_CHECKING:
    from retune.plan.model import PartialRatios, Place
    from retune.score.model import Meters

_LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SIGNS = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}
_SIGNS |= {"##": 2, "x": 2, "𝄪": 2, "♯♯": 2, "bb": -2, "𝄫": -2, "♭♭": -2}
_LARGEST = 100_000  # a larger term is a slip of the pen, not a ratio (chosen, no source)


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
    name = text.strip() if isinstance(text, str) else ""
    letter, sign = name[:1].upper(), name[1:]
    if letter not in _LETTERS or sign not in _SIGNS:
        raise ValueError(f"{text!r} is not a note name; write a letter A to G with # or b, like F# or Bb")
    return (_LETTERS[letter] + _SIGNS[sign]) % 12


def parse_tones(text: object, root_pc: int) -> int:
    """Read `C E G` as a bit mask of semitones above the root; the root is always in. Raises `ValueError`."""
    if not isinstance(text, str) or not text.split():
        raise ValueError(f'{text!r} is not a list of tones; write note names in quotes, like "C E G"')
    mask = 1
    for name in text.split():
        mask |= 1 << (parse_pitch_class(name) - root_pc) % 12
    return mask


def parse_ratios(text: object) -> PartialRatios:
    """Read `1 5/4 3/2`: each ratio belongs to the semitone it lies nearest to; `6:11/8` says which.

    Ratios are brought into one octave and into lowest terms. Raises `ValueError` with what is wrong.
    """
    if not isinstance(text, str) or not text.split():
        raise ValueError(f'{text!r} is not a list of ratios; write them in quotes, like "1 5/4 3/2"')
    found: dict[int, tuple[int, int]] = {}
    for word in text.split():
        semitone, pair = _parse_ratio(word)
        if semitone == 0 and pair != (1, 1):
            raise ValueError(f"{word!r} would move the root, which is always 1")
        if found.get(semitone, pair) != pair:
            raise ValueError(
                f"{word!r} and {format_ratio(*found[semitone])!r} are the same step of the scale"
            )
        found[semitone] = pair
    return tuple((semitone, *pair) for semitone, pair in sorted(found.items()))


def _parse_ratio(word: str) -> tuple[int, tuple[int, int]]:
    match = re.fullmatch(r"(?:(\d+):)?(\d+)(?:/(\d+))?", word)
    if not match:
        raise ValueError(f"{word!r} is not a ratio of whole numbers, like 5/4")
    top, bottom = int(match[2]), int(match[3] or 1)
    if not (1 <= top <= _LARGEST and 1 <= bottom <= _LARGEST):
        raise ValueError(f"{word!r} needs whole numbers from 1 to {_LARGEST}")
    while top < bottom:
        top *= 2
    while top >= 2 * bottom:
        bottom *= 2
    divisor = math.gcd(top, bottom)
    top, bottom = top // divisor, bottom // divisor
    semitone = int(match[1]) if match[1] else round(ratio_to_cents(top, bottom) / 100.0) % 12
    if semitone > 11:
        raise ValueError(f"{word!r}: steps go from 0 (the root) to 11")
    return semitone, (top, bottom)


def format_ratio(numerator: int, denominator: int) -> str:
    """Return `5/4`, or `1` for the root."""
    return str(numerator) if denominator == 1 else f"{numerator}/{denominator}"


def format_ratios(ratios: PartialRatios) -> str:
    """Return ratios as `parse_ratios` reads them, marking the step where nearness would mislead."""
    words = []
    for semitone, top, bottom in ratios:
        plain = format_ratio(top, bottom)
        words.append(plain if _parse_ratio(plain)[0] == semitone else f"{semitone}:{plain}")
    return " ".join(words)


def parse_limit(value: object) -> float:
    """Read a limit [cents]: a number of 0 or more, or "none". Raises `ValueError`."""
    if value == "none":
        return math.inf
    if isinstance(value, bool) or not isinstance(value, int | float) or not value >= 0:
        raise ValueError(f'{value!r} is not a number of cents of 0 or more, or "none"')
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

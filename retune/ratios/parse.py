"""Ratios as people write them, "5/4", "4:5:6:7", "1 5/4 3/2", read exactly into integer pairs."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from retune.errors import OptionError
from retune.harmony.vocabulary import CHORD_TYPES
from retune.ratios.choose import chord_index, chord_tones, complete
from retune.ratios.intervals import Pair, reduced
from retune.units import ratio_to_cents

if TYPE_CHECKING:
    from retune.ratios.model import RatioTable

LARGEST_TERM = 1_000_000  # a longer number is a slip of the pen, not a ratio (chosen, no source)
_RATIO = re.compile(r"(\d+)(?:/(\d+))?")


def parse_ratio(text: str) -> Pair:
    """Read "5/4" or "2" as (numerator, denominator) in lowest terms, octave-reduced to 1 <= ratio < 2.

    Raises `OptionError` if it is not a ratio of positive whole numbers.
    """
    match = _RATIO.fullmatch(text.strip())
    if match is None:
        raise OptionError(f"{text!r} is not a ratio of whole numbers such as 5/4")
    return reduced(_term(match[1], text), _term(match[2] or "1", text))


def parse_tones(text: str) -> dict[int, Pair]:
    """Read the tones of a chord as semitones above the root → ratio.

    Either whole numbers from the root up, "4:5:6:7", or ratios above the root, "1 5/4 3/2 7/4". Each tone
    stands for the semitone it lies nearest to.

    Raises `OptionError` if a word cannot be read, the root is missing, or two tones share a semitone.
    """
    if ":" in text:
        words = text.split(":")
        root = _term(words[0].strip(), text)
        pairs = [reduced(_term(word.strip(), text), root) for word in words]
    else:
        pairs = [parse_ratio(word) for word in text.replace(",", " ").split()]
    if (1, 1) not in pairs:
        raise OptionError(f"ratios {text!r}: the root is missing; write it as 1")
    tones: dict[int, Pair] = {}
    for pair in pairs:
        step = round(ratio_to_cents(*pair) / 100.0) % 12
        if tones.setdefault(step, pair) != pair:
            first, second = (f"{n}/{d}" for n, d in (tones[step], pair))
            raise OptionError(f"ratios {text!r}: {first} and {second} are both nearest to semitone {step}")
    return dict(sorted(tones.items()))


def parse_table(text: str, symbol: str, *, prime_limit: int = 5) -> RatioTable:
    """Read ratios for a chord type and fill in the pitch classes they leave out.

    Chord tones the text leaves out keep the ratios of our own table; all other pitch classes follow the rule
    of `choose_ratios` within the prime limit.

    Raises `OptionError` for an unknown chord symbol or a tone the chord does not have.
    """
    chord = chord_index(symbol)
    kind = CHORD_TYPES[chord]
    tones = parse_tones(text)
    for step, (numerator, denominator) in tones.items():
        if step not in kind.intervals:
            raise OptionError(
                f"ratios {text!r}: {numerator}/{denominator} is nearest to semitone {step}, which {symbol} "
                f"({kind.name}: {' '.join(map(str, kind.intervals))}) does not have"
            )
    return complete(chord_tones(chord, prime_limit) | tones, prime_limit)


def _term(digits: str, text: str) -> int:
    """Read one whole number of a ratio."""
    if not digits.isdecimal() or not 0 < int(digits[:9]) <= LARGEST_TERM or len(digits) > 9:
        raise OptionError(f"ratios {text!r}: {digits!r} is not a whole number from 1 to {LARGEST_TERM}")
    return int(digits)

"""The chord types the finder knows, as semitones above the root.

Names and symbols are those of ordinary lead-sheet and textbook practice (common practice, no source).
A chord type fixes which pitch classes are chord tones; exact ratios are the business of `retune.ratios`.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ChordType:
    """One kind of chord."""

    symbol: str  # as used in tables, plans and JSON: "maj", "min7", ...
    name: str  # in words
    intervals: tuple[int, ...]  # pitch classes above the root, semitones, ascending, first is 0

    @property
    def members(self) -> int:
        """Bit s is set where the pitch class s semitones above the root belongs to the chord."""
        return sum(1 << s for s in self.intervals)


CHORD_TYPES: tuple[ChordType, ...] = (
    ChordType("maj", "major triad", (0, 4, 7)),
    ChordType("min", "minor triad", (0, 3, 7)),
    ChordType("dim", "diminished triad", (0, 3, 6)),
    ChordType("aug", "augmented triad", (0, 4, 8)),
    ChordType("sus4", "suspended fourth", (0, 5, 7)),
    ChordType("sus2", "suspended second", (0, 2, 7)),
    ChordType("5", "open fifth", (0, 7)),
    ChordType("1", "single pitch class", (0,)),
    ChordType("7", "dominant seventh", (0, 4, 7, 10)),
    ChordType("maj7", "major seventh", (0, 4, 7, 11)),
    ChordType("min7", "minor seventh", (0, 3, 7, 10)),
    ChordType("min7b5", "half-diminished seventh", (0, 3, 6, 10)),
    ChordType("dim7", "diminished seventh", (0, 3, 6, 9)),
    ChordType("minmaj7", "minor triad with major seventh", (0, 3, 7, 11)),
    ChordType("7b5", "dominant seventh, flat fifth", (0, 4, 6, 10)),
    ChordType("7#5", "dominant seventh, sharp fifth", (0, 4, 8, 10)),
    ChordType("maj7#5", "augmented triad with major seventh", (0, 4, 8, 11)),
    ChordType("7sus4", "dominant seventh, suspended fourth", (0, 5, 7, 10)),
    ChordType("6", "major triad with sixth", (0, 4, 7, 9)),
    ChordType("min6", "minor triad with sixth", (0, 3, 7, 9)),
    ChordType("add9", "major triad with ninth", (0, 2, 4, 7)),
    ChordType("minadd9", "minor triad with ninth", (0, 2, 3, 7)),
    ChordType("6/9", "major triad with sixth and ninth", (0, 2, 4, 7, 9)),
    ChordType("9", "dominant ninth", (0, 2, 4, 7, 10)),
    ChordType("maj9", "major ninth", (0, 2, 4, 7, 11)),
    ChordType("min9", "minor ninth", (0, 2, 3, 7, 10)),
    ChordType("7b9", "dominant seventh, flat ninth", (0, 1, 4, 7, 10)),
    ChordType("7#9", "dominant seventh, sharp ninth", (0, 3, 4, 7, 10)),
    ChordType("9sus4", "dominant ninth, suspended fourth", (0, 2, 5, 7, 10)),
    ChordType("maj7#11", "major seventh, sharp eleventh", (0, 4, 6, 7, 11)),
    ChordType("min11", "minor eleventh", (0, 2, 3, 5, 7, 10)),
    ChordType("13", "dominant thirteenth", (0, 2, 4, 7, 9, 10)),
    ChordType("It+6", "Italian sixth", (0, 4, 10)),
    ChordType("Ger+6", "German sixth", (0, 4, 7, 10)),
    ChordType("Fr+6", "French sixth", (0, 4, 6, 10)),
)
"""Order is part of the contract of `WINDOW_DTYPE`: new types go to the end."""

INDEX_OF_SYMBOL = {chord.symbol: index for index, chord in enumerate(CHORD_TYPES)}

AUGMENTED_SIXTHS = ("It+6", "Ger+6", "Fr+6")
"""Types told by what follows (`augmented_sixths`), never by their tones alone; their 10 is an augmented sixth."""
AUGMENTED_SIXTH_INDICES = tuple(INDEX_OF_SYMBOL[symbol] for symbol in AUGMENTED_SIXTHS)

"""Sentences that every kind of sheet shares."""

from __future__ import annotations

from typing import TYPE_CHECKING

from retune.parts.names import beat_words, signed

if TYPE_CHECKING:
    from collections.abc import Iterable

    from retune.parts.model import Move, Sheets

UPBEAT = " Bar 1 is the upbeat: bar 2 here is bar 1 of a score that does not count it."

STRINGS = (
    "Strings: reach each pitch by the finger, never by turning a peg far up; a string tuned well above its pitch can "
    "break. Leave harps and keyboards to a technician."
)


def heading(sheets: Sheets) -> tuple[str, str, str]:
    """Return the reference, the sign convention, and what is marked and how bars are counted."""
    options = sheets.options
    return (
        f"Set the tuner to A = {sheets.reference_hz:g} Hz.",
        "A number is cents from the tuner's zero (100 cents = one semitone): "
        "−14 is sung or played 14 cents lower, +16 is 16 cents higher.",
        f"Notes without a number lie within {options.mark_from_cents:g} cents of the zero, "
        "or are too short to place." + (UPBEAT if sheets.has_upbeat else ""),
    )


def moves_words(moves: Iterable[Move]) -> str:
    """Return where a held note moves: "bar 3 beat 2: to −16"."""
    return "; ".join(
        f"bar {move.bar} beat {beat_words(move.beat)}: to {signed(move.to_cents)}" for move in moves
    )

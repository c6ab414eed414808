"""The colours of offsets, one scale for sheets, pictures and the page: amber is lower, blue is higher."""

from __future__ import annotations

LOWER, ZERO, HIGHER = "#a64808", "#b7b4ac", "#185ca0"  # the page's values on light paper (checked in tests)

# Amber to blue over a light middle: told apart with any common colour blindness, and both ends are as dark in
# print; contrast of the ends to the middle is above 7:1 (own choice, checked in tests).
LOW_TO_HIGH = ("#6e2c00", LOWER, "#f0b27a", "#efece4", "#9cc0e0", HIGHER, "#08306b")

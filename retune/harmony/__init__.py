"""Score in, windows with roots, chord types, roles of notes and keys out: what the ratios are chosen for."""

from retune.harmony.find import find_harmony
from retune.harmony.finder.reasons import explain
from retune.harmony.hints import hints_from_markers
from retune.harmony.model import KEY_DTYPE, PIECE_DTYPE, WINDOW_DTYPE, Harmony, Hint, Role

__all__ = [
    "KEY_DTYPE",
    "PIECE_DTYPE",
    "WINDOW_DTYPE",
    "Harmony",
    "Hint",
    "Role",
    "explain",
    "find_harmony",
    "hints_from_markers",
]

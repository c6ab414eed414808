"""Names of notes to pitch classes, without NumPy: options are read by programs that need no more."""

from __future__ import annotations

PC_OF_LETTER = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))
STEPS_OF_SIGN = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}
STEPS_OF_SIGN |= {"##": 2, "♯♯": 2, "x": 2, "𝄪": 2, "bb": -2, "♭♭": -2, "𝄫": -2}


def pitch_class_of(name: str) -> int | None:
    """Pitch class of a note name such as "A", "f#", "B♭"; None for anything else."""
    letter, sign = name.strip()[:1].upper(), name.strip()[1:]
    if letter not in PC_OF_LETTER or sign not in STEPS_OF_SIGN:
        return None
    return (PC_OF_LETTER[letter] + STEPS_OF_SIGN[sign]) % 12

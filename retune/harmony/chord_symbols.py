"""Lead-sheet chord symbols: "F♯m7/C♯", "Bbmaj7", "C°7" (common practice, no source)."""

from __future__ import annotations

import re

from retune.harmony.spelling import PC_OF_LETTER, STEPS_OF_SIGN

SUFFIXES: dict[str, str] = {
    **dict.fromkeys(("", "maj", "Maj", "M", "major", "△", "Δ"), "maj"),
    **dict.fromkeys(("m", "min", "Min", "mi", "-", "minor"), "min"),
    **dict.fromkeys(("dim", "°", "mb5", "m(b5)", "minb5"), "dim"),
    **dict.fromkeys(("aug", "+", "#5", "(#5)", "+5"), "aug"),
    **dict.fromkeys(("sus4", "sus", "4"), "sus4"),
    **dict.fromkeys(("sus2", "2"), "sus2"),
    **dict.fromkeys(("5", "no3"), "5"),
    "1": "1",
    **dict.fromkeys(("7", "dom7"), "7"),
    **dict.fromkeys(("maj7", "Maj7", "M7", "ma7", "△7", "Δ7", "j7", "major7"), "maj7"),
    **dict.fromkeys(("m7", "min7", "Min7", "mi7", "-7"), "min7"),
    **dict.fromkeys(("ø", "ø7", "Ø", "Ø7", "m7b5", "min7b5", "-7b5", "m7(b5)", "hdim7"), "min7b5"),
    **dict.fromkeys(("dim7", "°7", "o7"), "dim7"),
    **dict.fromkeys(
        ("mM7", "mmaj7", "m(maj7)", "minmaj7", "mMaj7", "m(M7)", "-maj7", "m△7", "mΔ7"), "minmaj7"
    ),
    **dict.fromkeys(("7b5", "7(b5)", "7-5"), "7b5"),
    **dict.fromkeys(("7#5", "+7", "aug7", "7(#5)", "7+5", "7+"), "7#5"),
    **dict.fromkeys(("maj7#5", "M7#5", "+maj7", "+M7", "maj7(#5)", "augmaj7"), "maj7#5"),
    **dict.fromkeys(("7sus4", "7sus", "sus7"), "7sus4"),
    **dict.fromkeys(("6", "maj6", "M6"), "6"),
    **dict.fromkeys(("m6", "min6", "-6"), "min6"),
    **dict.fromkeys(("add9", "(add9)", "add2"), "add9"),
    **dict.fromkeys(("madd9", "m(add9)", "minadd9", "madd2"), "minadd9"),
    **dict.fromkeys(("69", "6/9", "6(9)", "6add9"), "6/9"),
    "9": "9",
    **dict.fromkeys(("maj9", "M9", "ma9", "△9", "Δ9", "maj7(9)"), "maj9"),
    **dict.fromkeys(("m9", "min9", "-9", "m7(9)"), "min9"),
    **dict.fromkeys(("7b9", "7(b9)", "7-9"), "7b9"),
    **dict.fromkeys(("7#9", "7(#9)", "7+9"), "7#9"),
    **dict.fromkeys(("9sus4", "9sus", "11"), "9sus4"),
    **dict.fromkeys(("maj7#11", "M7#11", "maj7(#11)", "△7#11", "maj9#11"), "maj7#11"),
    **dict.fromkeys(("m11", "min11", "-11", "m7(11)"), "min11"),
    **dict.fromkeys(("13", "7(13)"), "13"),
    **dict.fromkeys(("It+6", "It6"), "It+6"),
    **dict.fromkeys(("Ger+6", "Ger6", "Ger65"), "Ger+6"),
    **dict.fromkeys(("Fr+6", "Fr6", "Fr43"), "Fr+6"),
}
"""What follows the root, and the chord type of the vocabulary it means."""

_SYMBOL = re.compile(r"([A-G])(##|bb|#|b)?(.*?)(?:/([A-G])(##|bb|#|b)?)?")


def parse(text: str) -> tuple[int, str, int | None] | None:
    """(root pitch class, chord type, bass pitch class or None) of a chord symbol, None if it is not one."""
    plain = (
        text.strip()
        .replace("♯", "#")
        .replace("♭", "b")
        .replace("𝄪", "##")
        .replace("𝄫", "bb")
        .replace(" ", "")
    )
    match = _SYMBOL.fullmatch(plain)
    if match is None or match[3] not in SUFFIXES:
        return None
    root = (PC_OF_LETTER[match[1]] + STEPS_OF_SIGN[match[2] or ""]) % 12
    bass = (PC_OF_LETTER[match[4]] + STEPS_OF_SIGN[match[5] or ""]) % 12 if match[4] else None
    return root, SUFFIXES[match[3]], bass

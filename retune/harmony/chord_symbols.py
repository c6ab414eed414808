"""Lead-sheet chord symbols: "F♯m7/C♯", "B♭maj7(#11)", "C°7", "G7(b9,b13)" (common practice, no source).

A symbol is a root, a quality, a number, whatever is altered, added or left out, and perhaps a bass. It is read from
left to right into tones above the root; the chord type is the one that has these tones, or else the fullest among them.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from retune.harmony.vocabulary import AUGMENTED_SIXTHS, CHORD_TYPES, INDEX_OF_SYMBOL
from retune.note_names import PC_OF_LETTER, STEPS_OF_SIGN


class Symbol(NamedTuple):
    """What a chord symbol says."""

    root_pc: int
    chord: str  # symbol of the vocabulary, "" if no chord type comes near
    bass_pc: int | None  # what stands behind the slash
    members: int | None  # tones above the root as a bit mask, where they are not those of the chord type


_PLAIN = str.maketrans(
    {"♯": "#", "♭": "b", "𝄪": "##", "𝄫": "bb", "△": "Δ", "∆": "Δ", "º": "°", "Ø": "ø", "∅": "ø", "⌀": "ø"}
    | dict.fromkeys("−–‑‐", "-")  # minus, dash and hyphens
)
_SYMBOL = re.compile(r"([A-G])(##|bb|#|b)?(.*?)(?:/([A-G])(##|bb|#|b)?)?")
_NO_CHORD = ("n.c", "nc", "n", "no chord", "tacet")

_MAJOR, _MINOR = r"(?i:major|maj|ma(?!dd))|M(?!i)|Δ|\^|j", r"(?i:minor|min|mi)|m|-(?!5)"
_QUALITY = re.compile(
    r"(?P<half>half-?dim|hdim|ø)|(?P<dim>(?i:dim)|°|o(?=7))|(?P<aug>(?i:aug)|\+(?!5))"
    rf"|(?P<major>{_MAJOR})|(?P<minor>{_MINOR})|(?P<dom>dom(?=\d))"
)
_NUMBER = re.compile(r"6/?9|13|11|9|7|6|5|4|2")
_TOKEN = re.compile(
    r"sus(?P<sus>2/?4|4|2|7|9|13|)"
    r"|(?P<alt>alt)"
    r"|add(?P<added>[#b+-]?\d+)"
    r"|(?:no|omit)(?P<left_out>\d+)(?:rd|th|d)?"
    rf"|(?P<seventh>(?:{_MAJOR})(?:13|11|9|7)?)"
    r"|(?P<altered>[#b+-](?:13|11|9|6|5|4))"
    r"|(?P<raised>\+)"
    r"|(?P<extra>6/?9|13|11|9|7|6|4|2)"
)
_DEGREE = {1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 10, 9: 2, 11: 5, 13: 9}  # semitones above the root
_SIGN = {"#": 1, "+": 1, "b": -1, "-": -1}
_SIXTHS = {"It6": "It+6", "Ger6": "Ger+6", "Ger65": "Ger+6", "Fr6": "Fr+6", "Fr43": "Fr+6"}
_SIXTHS |= {symbol: symbol for symbol in AUGMENTED_SIXTHS}
_TYPES = [kind for kind in CHORD_TYPES if kind.symbol not in AUGMENTED_SIXTHS]
_BY_MEMBERS = {kind.members: kind.symbol for kind in _TYPES}
_LEAST_TONES = 3  # a chord type of fewer says nothing of a set that has more


def parse(text: str) -> Symbol | None:
    """Read a chord symbol; None if the text is not one.

    A bass that is no tone of the chord is one of the tones that are given.
    """
    match = _SYMBOL.fullmatch(text.translate(_PLAIN).replace(" ", "").strip("[]|"))
    kind = parse_kind(match[3]) if match else None
    if match is None or kind is None:
        return None
    chord, members = kind
    root = (PC_OF_LETTER[match[1]] + STEPS_OF_SIGN[match[2] or ""]) % 12
    if match[4] is None:
        return Symbol(root, chord, None, members)
    bass = (PC_OF_LETTER[match[4]] + STEPS_OF_SIGN[match[5] or ""]) % 12
    own = CHORD_TYPES[INDEX_OF_SYMBOL[chord]].members if members is None else members
    low = 1 << (bass - root) % 12
    return Symbol(root, chord, bass, members if own & low else own | low)


def is_no_chord(text: str) -> bool:
    """True for the signs that say "no chord here"."""
    return text.strip("()[] ").rstrip(".").lower() in _NO_CHORD


def parse_kind(text: str) -> tuple[str, int | None] | None:
    """Read what follows the root: (chord type, tones as a bit mask where they differ from its own), else None.

    A type may be called by its own symbol. Where no chord type comes near the tones, the type is "".
    """
    plain = text.translate(_PLAIN).strip().replace(" ", "")
    if plain in INDEX_OF_SYMBOL:
        return plain, None
    if plain in _SIXTHS:
        return _SIXTHS[plain], None
    tones = _Tones()
    rest = _quality(tones, plain)
    return tones.kind() if _modifiers(tones, rest) else None


class _Tones:
    """The tones of a chord as they are read, semitones above the root."""

    def __init__(self) -> None:
        self.third: int | None = 4
        self.fifths = {7}
        self.seventh: int | None = None
        self.plain_seventh = 10  # what "7" means here
        self.others: set[int] = set()
        self.left_out: set[int] = set()

    def degree(self, number: int) -> None:
        """Take the number behind the quality: 7, 9, 13, 6, 69, 5, 2, 4."""
        if number in (7, 9, 11, 13):
            self.seventh = self.plain_seventh
            self.others |= {_DEGREE[n] for n in (9, number) if 7 < n <= number}
        elif number in (6, 69):
            self.others |= {9} if number == 6 else {9, 2}
        elif number == 5:
            self.third = None
        else:
            self.third = _DEGREE[number]
        if number == 11 and self.third == 4 and self.seventh == 10:
            self.third = None  # the third of a dominant eleventh is left out

    def kind(self) -> tuple[str, int | None]:
        """Chord type, and the tones as a mask where they are not its own."""
        full = {0, *self.fifths, *self.others} | {t for t in (self.third, self.seventh) if t is not None}
        members = sum(1 << tone for tone in full - self.left_out)
        if members in _BY_MEMBERS:
            return _BY_MEMBERS[members], None
        needed = {t for t in (self.third, self.seventh, *self.fifths) if t is not None}
        for wanted in (needed, needed & {3, 4}):
            within = [kind for kind in _TYPES if wanted <= set(kind.intervals) <= full]
            fullest = max(within, key=lambda kind: len(kind.intervals), default=None)
            if fullest and len(fullest.intervals) >= _LEAST_TONES:
                return fullest.symbol, members
        return "", members


def _quality(tones: _Tones, text: str) -> str:
    """Take the quality and the number that begin a suffix; what is left of it."""
    match = _QUALITY.match(text)
    kind = match.lastgroup if match else None
    rest = text[match.end() :] if match else text
    if kind in ("minor", "half", "dim"):
        tones.third = 3
    if kind in ("half", "dim"):
        tones.fifths = {6}
    if kind == "half":
        tones.seventh = 10
    if kind == "dim":
        tones.plain_seventh = 9
    if kind == "aug":
        tones.fifths = {8}
    if kind == "major":
        tones.plain_seventh = 11
        if match and match[0] in "Δ^":  # C△ is a seventh
            tones.seventh = 11
    number = _NUMBER.match(rest)
    if number:
        tones.degree(int(number[0].replace("/", "")))
        rest = rest[number.end() :]
    return rest


def _modifiers(tones: _Tones, text: str) -> bool:
    """Take what is altered, added or left out. False if something is none of it."""
    at = 0
    while at < len(text):
        if text[at] in "(),/" and text[at : at + 2] not in ("/", "//"):
            at += 1
            continue
        token = _TOKEN.match(text, at)
        if token is None or not _take(tones, token):
            return False
        at = token.end()
    return True


def _take(tones: _Tones, token: re.Match[str]) -> bool:
    """Take one alteration, addition or omission; False for a degree that there is not."""
    found = token.groupdict()
    if found["sus"] is not None:
        _suspend(tones, found["sus"].replace("/", ""))
    elif found["alt"]:
        tones.fifths, tones.seventh = {6, 8}, 10
        tones.others |= {1, 3}
    elif found["seventh"]:
        tones.plain_seventh = 11
        tones.degree(int("".join(filter(str.isdecimal, found["seventh"])) or 7))
    elif found["raised"]:
        return _add(tones, "+5")
    elif found["left_out"]:
        return _leave_out(tones, int(found["left_out"]))
    else:
        return _add(tones, found["altered"] or found["added"] or found["extra"])
    return True


def _suspend(tones: _Tones, how: str) -> None:
    """Put a fourth, a second or both in the place of the third; "sus9" is a ninth with a fourth."""
    if how in ("7", "9", "13"):
        tones.degree(int(how))
    if how == "24":
        tones.others.add(2)
    elif tones.third in (2, 5):  # one of "sus2sus4", too
        tones.others.add(tones.third)
    tones.third = 2 if how == "2" else 5


def _leave_out(tones: _Tones, number: int) -> bool:
    if number == 5:
        tones.left_out |= tones.fifths
    elif number == 3 and tones.third is not None:
        tones.left_out.add(tones.third)
    elif number == 7 and tones.seventh is not None:
        tones.left_out.add(tones.seventh)
    elif number in _DEGREE:
        tones.left_out.add(_DEGREE[number])
    return number in _DEGREE


def _add(tones: _Tones, text: str) -> bool:
    """Add a degree such as "9", "b13", "+11", "6/9"; an altered fifth takes the place of the pure one."""
    sign, number = _SIGN.get(text[0], 0), int(text.lstrip("#b+-").replace("/", ""))
    if number == 69:
        tones.others |= {9, 2}
    elif number == 7:
        tones.seventh = tones.plain_seventh
    elif number == 5:
        tones.fifths = tones.fifths - {7} | {7 + sign}
    elif number in _DEGREE:
        if number == 9 and sign:
            tones.others.discard(_DEGREE[9])
        tones.others.add((_DEGREE[number] + sign) % 12)
    return number in _DEGREE or number == 69

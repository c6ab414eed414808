"""How a singer reads things: names of pitches, places in the bar, functions in a chord, signed cents."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from retune.harmony.model import Role
from retune.harmony.spelling import fifths_above_root, name_within_reach, place_of_name, spell
from retune.harmony.vocabulary import CHORD_TYPES
from retune.score.model import REACH

if TYPE_CHECKING:
    from retune.harmony import Harmony

_SIGNS = {-2: "𝄫", -1: "♭", 0: "", 1: "♯", 2: "𝄪"}
_ASCII_SIGNS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}
_FRACTIONS = {0.25: "¼", 0.5: "½", 0.75: "¾", 1 / 3: "⅓", 2 / 3: "⅔"}
MINUS = "−"

# Names of the degrees above a root in English textbook usage (common practice, no source).
_DEGREES = {
    0: "root", 1: "ninth", 2: "ninth", 3: "third", 4: "third", 5: "fourth", 6: "fifth", 7: "fifth",
    8: "fifth", 9: "sixth", 10: "seventh", 11: "seventh",
}  # fmt: skip
_DEGREES_OF_CHORD = {
    "dim7": {9: "seventh"}, "sus2": {2: "second"}, "7#9": {3: "ninth"}, "maj7#11": {6: "eleventh"},
    "min11": {5: "eleventh"}, "13": {9: "thirteenth"}, "It+6": {10: "augmented sixth"},
    "Ger+6": {10: "augmented sixth"}, "Fr+6": {6: "augmented fourth", 10: "augmented sixth"},
}  # fmt: skip
_ROLE_WORDS = {
    Role.PASSING: "passing note",
    Role.NEIGHBOUR: "neighbour note",
    Role.SUSPENSION: "suspension",
    Role.ANTICIPATION: "anticipation",
    Role.APPOGGIATURA: "appoggiatura",
    Role.PEDAL: "pedal note",
    Role.OTHER: "note outside the chord",
}


@dataclass(frozen=True, slots=True)
class Pitch:
    """A spelled pitch. Octave 4 holds middle C (scientific pitch notation)."""

    letter: str
    alter: int
    octave: int

    def __str__(self) -> str:
        return f"{self.letter}{_SIGNS[self.alter]}{self.octave}"

    @property
    def ascii(self) -> str:
        """Name in plain letters: Eb4."""
        return f"{self.letter}{_ASCII_SIGNS[self.alter]}{self.octave}"


@dataclass(frozen=True, slots=True)
class Key:
    """The key in force: what decides spelling."""

    fifths: int = 0  # sharps positive, flats negative
    minor: bool = False

    def tone(self, pc: int) -> str:
        """Return the name of a pitch class: E♭."""
        return spell(pc, self.fifths, minor=self.minor)


def key_at(harmony: Harmony, tick: int) -> Key:
    """Return the key in force at a tick; none counts as C major."""
    row = harmony.key_at(tick)
    return Key(int(row["fifths"]), bool(row["minor"]))


def pitch(key: int, name: str) -> Pitch:
    """Return a MIDI key under the name of its pitch class."""
    alter = name.count("♯") - name.count("♭")
    return Pitch(name[0], alter, (key - alter) // 12 - 1)


def chord_tone(root: str, semitones: int, chord: int) -> str:
    """Return the name of a chord tone by its degree above the spelled root: the third of E major is G♯."""
    return name_within_reach(place_of_name(root) + fifths_above_root(semitones, chord))


def chord_words(root: str, chord: int) -> str:
    """Return a chord in words: "E♭ major triad"; an unnamed chord is "chord on E♭"."""
    return f"{root} {chord_kind(chord)}" if chord >= 0 else f"chord on {root}"


def chord_kind(chord: int) -> str:
    """Return a kind of chord in words: "major triad"."""
    return CHORD_TYPES[chord].name if chord >= 0 else "chord without a name"


def degree(semitones: int, chord: int) -> str:
    """Return what a chord tone is in its chord: "third", "fifth" …."""
    symbol = CHORD_TYPES[chord].symbol if chord >= 0 else ""
    return _DEGREES_OF_CHORD.get(symbol, {}).get(semitones, _DEGREES[semitones])


def function_words(semitones: int, chord: int, role: int, chord_name: str) -> str:
    """Return what a note does, for a singer: "third of E♭ major triad", "passing note over …"."""
    if role == Role.CHORD:
        return f"{degree(semitones, chord)} of {chord_name}"
    return f"{_ROLE_WORDS[Role(role)]} over {chord_name}"


def signed(cents: int) -> str:
    """Return whole cents with a sign as set in print: "−14", "+2", "0"."""
    return f"+{cents}" if cents > 0 else f"{MINUS}{-cents}" if cents < 0 else "0"


def beat_words(beat: float) -> str:
    """Return a beat as a musician writes it: 3, 2½, 1⅔; anything else to a hundredth."""
    whole = int(beat + REACH)
    rest = beat - whole
    if abs(rest) <= REACH:
        return str(whole)
    for value, sign in _FRACTIONS.items():
        if abs(rest - value) <= REACH:
            return f"{whole}{sign}"
    return f"{beat:.2f}"

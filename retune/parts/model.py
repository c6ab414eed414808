"""What a singer's sheet holds; the writers only lay it out."""

from __future__ import annotations

from dataclasses import dataclass

from retune.errors import OptionError
from retune.parts.names import Pitch


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetOptions:
    """What to mark. Raises `OptionError` when a value cannot be obeyed."""

    mark_from_cents: float = 5.0  # 5 cents: usual just noticeable difference of steady tones (rule of thumb)
    shortest_s: float = 0.2  # shorter notes are over before a singer can place them (judgement, no source)
    move_from_cents: float = 2.0  # held notes that move less need no thought
    chords: int = 8  # how many chords to tune slowly
    ratios: bool = False  # show the ratio to the root

    def __post_init__(self) -> None:
        for name, value, top, unit in (
            ("mark from", self.mark_from_cents, 100.0, " cents"),
            ("shortest", self.shortest_s, 60.0, " seconds"),
            ("move from", self.move_from_cents, 100.0, " cents"),
            ("slow chords", float(self.chords), 1000.0, ""),
        ):
            if not 0.0 <= value <= top:
                raise OptionError(f"{name}: {value:g} is outside 0 to {top:g}{unit}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """A held note that must move while it sounds."""

    tick: int
    bar: int
    beat: float
    from_cents: int
    to_cents: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetNote:
    """One note of a part."""

    note: int  # index into Score.notes
    tick: int
    bar: int
    beat: float
    last_bar: int  # bar in which it ends
    beats: float  # length
    pitch: Pitch
    cents: float  # from the tuner's zero at the reference pitch
    marked: bool  # True: matters enough to be printed at the note
    function: str  # "third of E♭ major triad"
    degree: str  # "third", or "" for a note outside the chord
    chord: str  # "E♭ major triad"
    chord_kind: str  # "major triad"
    ratio: str  # to the root of the chord, octave-reduced: "5/4"
    word: str  # syllable sung on it, "" if the file has none
    moves: tuple[Move, ...] = ()

    @property
    def whole_cents(self) -> int:
        """Cents as printed."""
        return round(self.cents)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A habit of one part in this piece: as third of a major triad −16 to −14, five times."""

    where: str
    count: int  # notes that keep it
    cases: int  # all notes of this function
    low: int  # range of the whole cents met; both on one side of zero
    high: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One part."""

    part: int  # index into Score.parts
    name: str
    notes: tuple[SheetNote, ...]
    rules: tuple[Rule, ...]
    has_strings: bool = False  # of a string instrument, by its program: the sheet carries a caution


@dataclass(frozen=True, slots=True, kw_only=True)
class Voice:
    """One note of a chord to tune slowly."""

    part: str
    pitch: Pitch
    cents: int
    degree: str
    hint: str  # what to listen for, "" for the first


@dataclass(frozen=True, slots=True, kw_only=True)
class SlowChord:
    """A chord to build up in order: voices come one after the other."""

    bar: int
    beat: float
    name: str
    voices: tuple[Voice, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheets:
    """Everything the writers lay out."""

    title: str
    reference_hz: float
    options: SheetOptions
    sheets: tuple[Sheet, ...]
    chords: tuple[SlowChord, ...]
    fifths: int = 0  # key signature at the start: sharps positive, flats negative
    has_upbeat: bool = False  # bar 1 is one: printed scores count from the bar after it

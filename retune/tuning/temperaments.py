"""Fixed temperaments by name, built from their fifths, and temperaments of the user's own.

A fixed temperament is twelve offsets from equal temperament, C first, in cents, moved as a whole so that A is
0: the way tuners' tables are entered (reference A stays at the reference pitch).

Sources of the constructions: Barbour, *Tuning and Temperament*, 1951 (Pythagorean, meantone after Aron 1523,
Werckmeister 1691); Kirnberger's letter to Forkel (printed 1871); Vallotti/Tartini 1754; Young, *Phil. Trans.*
90, 1800; the just scale is that of Helmholtz/Ellis 1885 with 45/32 and 9/5.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from retune.arrays import so_far
from retune.constants import SYNTONIC_COMMA
from retune.errors import OptionError
from retune.note_names import pitch_class_of
from retune.ratios.intervals import Pair
from retune.ratios.parse import parse_ratio
from retune.units import ratio_to_cents
from retune.wording import nearest, plain

Floats = NDArray[np.float64]

SYNTONIC_COMMA_CENTS = ratio_to_cents(*SYNTONIC_COMMA)
PYTHAGOREAN_COMMA_CENTS = ratio_to_cents(531441, 524288)
FIRST_FIFTH = 3  # chains of fifths start at E♭: E♭ B♭ F C G D A E B F♯ C♯ G♯
A_PC = 9
LARGEST_OFFSET_CENTS = 100.0  # of a pitch of one's own from its semitone: more is a slip (chosen, no source)


@dataclass(frozen=True, slots=True)
class Narrowing:
    """How far a fifth is narrower than 3/2: (pythagorean·PC + syntonic·SC) / parts, of the two commas."""

    pythagorean: int
    syntonic: int
    parts: int

    @property
    def cents(self) -> float:
        """The narrowing in cents."""
        commas = self.pythagorean * PYTHAGOREAN_COMMA_CENTS + self.syntonic * SYNTONIC_COMMA_CENTS
        return commas / self.parts


PURE = Narrowing(0, 0, 1)
QUARTER_SC = Narrowing(0, 1, 4)
SIXTH_SC = Narrowing(0, 1, 6)
QUARTER_PC = Narrowing(1, 0, 4)
SIXTH_PC = Narrowing(1, 0, 6)
TWELFTH_PC = Narrowing(1, 0, 12)
SCHISMA = Narrowing(1, -1, 1)
YOUNG_LARGE = Narrowing(0, 3, 16)
YOUNG_SMALL = Narrowing(4, -3, 16)  # a quarter of what four large ones leave of the Pythagorean comma


def _chain(**narrowed: Narrowing) -> tuple[Narrowing, ...]:
    """The eleven fifths E♭–B♭ … C♯–G♯, pure unless the note they rise from is named."""
    names = ("Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "Fs", "Cs")
    return tuple(narrowed.get(name, PURE) for name in names)


def _each(names: str, narrowing: Narrowing) -> dict[str, Narrowing]:
    return dict.fromkeys(names.split(), narrowing)


FIFTHS: dict[str, tuple[Narrowing, ...]] = {
    "equal": (TWELFTH_PC,) * 11,
    "pythagorean": _chain(),
    "quarter-comma-meantone": (QUARTER_SC,) * 11,
    "sixth-comma-meantone": (SIXTH_SC,) * 11,
    "werckmeister-iii": _chain(**_each("C G D B", QUARTER_PC)),
    "kirnberger-iii": _chain(**_each("C G D A", QUARTER_SC), Fs=SCHISMA),
    "vallotti": _chain(**_each("F C G D A E", SIXTH_PC)),
    "young-1": _chain(**_each("C G D A", YOUNG_LARGE), **_each("Bb F E B", YOUNG_SMALL)),
    "young-2": _chain(**_each("C G D A E B", SIXTH_PC)),
}
"""Temperament → its fifths from E♭ to G♯, the tonic being C; the twelfth, G♯–E♭, takes what is left."""

JUST: tuple[Pair, ...] = (
    *((1, 1), (16, 15), (9, 8), (6, 5), (5, 4), (4, 3)),
    *((45, 32), (3, 2), (8, 5), (5, 3), (9, 5), (15, 8)),
)
"""The five-limit just scale above its tonic."""

TEMPERAMENTS = (*FIFTHS, "just")
"""Every name `temperament` knows."""


FILE_SUFFIX = ".toml"
"""A name that ends so is a file with a temperament of one's own."""


def file_named(text: str) -> str | None:
    """Return the file that a temperament text names, None for one of `TEMPERAMENTS`."""
    name = _name_and_note(text)[0]
    return name if name.endswith(FILE_SUFFIX) else None


def temperament(text: str, *, tonic_pc: int = 0, files: Mapping[str, str] = MappingProxyType({})) -> Floats:
    """Offsets of the twelve pitch classes from equal temperament, C first, with A = 0 [cents].

    Parameters
    ----------
    text : str
        A name of `TEMPERAMENTS`, perhaps with the note it is built on: `just on D`, `young-2 on Bb`; or the
        path of a file ending in .toml, see `parse_temperament`.
    tonic_pc : int
        Pitch class the temperament is built on where the text names none; C = 0.
    files : Mapping[str, str]
        Text of files by name; any other file is read.

    Raises
    ------
    OptionError
        Unknown name, with the nearest legal one; unknown note; a file that cannot be obeyed.
    InputError
        A file that cannot be read.

    """
    name, note = _name_and_note(text)
    if name.endswith(FILE_SUFFIX):
        scale = _above_c(files[name] if name in files else read_temperament_file(name), name)
    elif name in FIFTHS:
        scale = _from_fifths(FIFTHS[name])
    elif name == "just":
        scale = _from_ratios(JUST)
    else:
        known = ", ".join(TEMPERAMENTS)
        raise OptionError(
            f"temperament {plain(name)!r} is not one of {known}, or a .toml file{nearest(name, TEMPERAMENTS)}"
        )
    return _on(scale, _tonic(note, f"temperament {plain(text)!r}") if note is not None else tonic_pc)


def parse_temperament(text: str, *, name: str = "temperament") -> Floats:
    """Read a temperament of one's own; offsets as from `temperament`.

    The text is TOML with one list of twelve, and for the first two forms the note it starts from:

        cents = [0, 76, 193, 310, 386, 503, 580, 697, 773, 890, 1007, 1083]
        ratios = ["1", "16/15", "9/8", "6/5", "5/4", "4/3", "45/32", "3/2", "8/5", "5/3", "9/5", "15/8"]
        offsets = [10.3, -13.7, 3.4, 20.5, -3.4, 13.7, -10.3, 6.8, -17.1, 0, 17.1, -6.8]
        tonic = "C"

    `cents` and `ratios` count from the tonic (C if none is named), `offsets` from equal temperament, C first.
    Raises `OptionError` naming the file and what is wrong.
    """
    return _on(*_parse(text, name))


def _tonic(note: str, where: str) -> int:
    found = pitch_class_of(note)
    if found is None:
        raise OptionError(f"{where}: {plain(note)!r} is not a note name such as A or F#")
    return found


def _name_and_note(text: str) -> tuple[str, str | None]:
    """`just on D` → `just` and `D`; None where no note is named."""
    name, on, note = text.strip().rpartition(" on ")
    return (name, note) if on else (note, None)


def read_temperament_file(path: str) -> str:
    """Return the text of a temperament file. Raises `OptionError` for other than UTF-8, `InputError`."""
    from retune.files import read_input

    try:
        return read_input(path).decode("utf-8")
    except UnicodeDecodeError:
        raise OptionError(f"temperament {plain(path)}: not UTF-8 text; save the file as UTF-8") from None


def _above_c(text: str, name: str) -> Floats:
    """The twelve of a file, relative to a tonic C whatever tonic it names."""
    scale, tonic_pc = _parse(text, name)
    return np.roll(scale, tonic_pc)


def _parse(text: str, name: str) -> tuple[Floats, int]:
    """(offsets of the twelve steps above the tonic, the tonic)."""
    where = f"temperament {plain(name)}"
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        from retune.toml_lines import place_of

        line, column, reason = place_of(error, text)
        raise OptionError(f"{where}, line {line}, column {column}: {reason}") from None
    forms = [form for form in ("cents", "ratios", "offsets") if form in content]
    if len(forms) != 1:
        raise OptionError(f"{where}: needs one list of twelve: cents, ratios or offsets")
    values = content[forms[0]]
    if not isinstance(values, list) or len(values) != 12:
        raise OptionError(f"{where}: {forms[0]} must be a list of twelve")
    tonic_pc = 0
    if "tonic" in content:
        if forms == ["offsets"] or not isinstance(content["tonic"], str):
            raise OptionError(f"{where}: tonic must be a note name, and goes with cents or ratios")
        tonic_pc = _tonic(content["tonic"], where)
    offsets = _offsets(values, forms[0], where)
    if np.abs(offsets).max() > LARGEST_OFFSET_CENTS:
        worst = int(np.argmax(np.abs(offsets)))
        raise OptionError(
            f"{where}: {forms[0]} number {worst + 1}, {values[worst]!r}, lies {offsets[worst]:+.1f} cents "
            f"from its semitone; {LARGEST_OFFSET_CENTS:g} is the most"
        )
    return offsets, tonic_pc


def _offsets(values: list[Any], form: str, where: str) -> Floats:
    """Twelve written values as cents from the equal-tempered step."""
    if form == "ratios":
        if not all(isinstance(value, str) for value in values):
            raise OptionError(f'{where}: ratios are written in quotes, like "5/4"')
        try:
            return _from_ratios(tuple(parse_ratio(value) for value in values))
        except OptionError as error:
            raise OptionError(f"{where}: {error}") from None
    if not all(type(value) in (int, float) and np.isfinite(value) for value in values):
        raise OptionError(f"{where}: {form} must be twelve numbers")
    return np.array(values, dtype=np.float64) - (100.0 * np.arange(12) if form == "cents" else 0.0)


def _from_ratios(pairs: tuple[Pair, ...]) -> Floats:
    return np.array([ratio_to_cents(*pair) - 100.0 * step for step, pair in enumerate(pairs)])


def _from_fifths(narrowings: tuple[Narrowing, ...]) -> Floats:
    """Offsets of the twelve steps above C from the eleven fifths E♭ to G♯."""
    widened = ratio_to_cents(3, 2) - 700.0 - np.array([narrowing.cents for narrowing in narrowings])
    offsets = np.zeros(12)
    offsets[(FIRST_FIFTH + 7 * np.arange(12)) % 12] = so_far(widened)
    return offsets


def _on(scale: Floats, tonic_pc: int) -> Floats:
    """Offsets above a tonic, moved to the tonic's pitch class and then as a whole to A = 0."""
    offsets = np.roll(scale, tonic_pc)
    moved: Floats = offsets - offsets[A_PC]
    return moved

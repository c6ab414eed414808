"""Everything the user may say, resolved once into frozen values that the stages work from."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from math import inf
from typing import Any

from retune.constants import A4_HZ, OCTAVE_CENTS
from retune.errors import OptionError
from retune.note_names import pitch_class_of

ENCODINGS = ("bend", "mpe", "mts", "mts-octave", "midi2")
CLIP_SUFFIX = ".midi2"  # of a MIDI 2.0 clip (M2-116-U), which no reader of MIDI files opens
PRIME_LIMITS = (3, 5, 7, 11, 13)
WHEN_FULL = ("share", "ports", "files")
CHORDS = ("find", "markers")
MOST_LIMIT_CENTS = OCTAVE_CENTS  # further than any tuning of twelve notes could ask for
MOST_LINE_WEIGHT = 1000.0  # beyond, squared sums lose the digits that tell chords apart
MOST_GLIDE_MS = 10_000.0  # longer than any note is heard to move


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of a conversion; every field has a default, and a wrong value raises `OptionError`.

    Parameters
    ----------
    encoding
        How the tuning is carried: "bend", "mpe", "mts", "mts-octave" or "midi2".
    prime_limit
        Largest prime in the ratios: 3, 5, 7, 11 or 13.
    drift_limit_cents
        How far the root of a chord may move from its home pitch, 0 to 1200 cents; `math.inf`: no limit.
    hold_limit_cents
        How far a note may move while it sounds on, 0 to 1200 cents; `math.inf`: no limit.
    purity_first
        Chords exactly pure, whatever lines must do.
    line_weight
        How much still lines count beside pure chords, 0 to 1000; 1 as chosen by experiment.
    reference_hz
        Pitch of the A above middle C, 380 to 500 Hz.
    home
        What stays at the reference pitch: "mean" of all roots, "tonic" of each key, or a note such as "A".
    fixed
        Parts that must not be touched: names, numbers, "program:0-7"; "PART=TEMPERAMENT" says how one is tuned.
    temperaments
        (name, text) of each temperament file named in `fixed`, so that the options say all that decides the result
        wherever they travel; a file whose text is not given is read when it is needed.
    bend_range_semitones
        Bend range of the channels used, 1 to 96 semitones.
    glide_ms
        Time over which a change of pitch of a sounding note is spread, 0 to 10000 milliseconds.
    when_full
        What to do with more pitches at once than channels: "share" channels, use more "ports", write several "files".
    keep_channel_10_free
        With "mpe": channel 10 carries no notes of a zone.
    chords
        Whether chords are found in the notes ("find") or taken from chord symbols in the file ("markers").

    """

    encoding: str = "bend"
    prime_limit: int = 5
    drift_limit_cents: float = 15.0
    hold_limit_cents: float = 1.0
    purity_first: bool = False
    line_weight: float = 1.0
    reference_hz: float = A4_HZ
    home: str = "mean"
    fixed: tuple[str, ...] = ()
    temperaments: tuple[tuple[str, str], ...] = ()
    bend_range_semitones: int = 2
    glide_ms: float = 0.0
    when_full: str = "share"
    keep_channel_10_free: bool = True
    chords: str = "find"

    def __post_init__(self) -> None:
        self._whole("prime limit", "prime_limit")
        self._whole("bend range", "bend_range_semitones")
        for name in ("purity_first", "keep_channel_10_free"):
            _one_of(name.replace("_", " "), getattr(self, name), (False, True))
        _one_of("encoding", self.encoding, ENCODINGS)
        _one_of("prime limit", self.prime_limit, PRIME_LIMITS)
        _one_of("when-full", self.when_full, WHEN_FULL)
        _one_of("chords", self.chords, CHORDS)
        if isinstance(self.fixed, str):  # its letters would be taken for parts
            raise OptionError(
                f"fixed: {self.fixed!r} is a text, not a tuple of parts; write ({self.fixed!r},)"
            )
        try:
            object.__setattr__(self, "fixed", tuple(map(_text, self.fixed)))
        except TypeError:
            raise OptionError(f"fixed: {self.fixed!r} is not a tuple of parts, such as ('Piano',)") from None
        if self.home not in ("mean", "tonic") and not (
            isinstance(self.home, str) and pitch_class_of(self.home) is not None
        ):
            raise OptionError(f"home: {self.home!r} is not mean, tonic or a note name such as A or F#")
        for name, field in (("drift", "drift_limit_cents"), ("hold", "hold_limit_cents")):
            value = self._number(f"{name} limit", field)
            if not (0.0 <= value <= MOST_LIMIT_CENTS or value == inf):
                raise OptionError(
                    f"{name} limit: {value:g} is not between 0 and {MOST_LIMIT_CENTS:g} cents, nor none"
                )
        for name, field, low, high, unit in _RANGES:
            value = self._number(name, field)
            if not low <= value <= high:
                raise OptionError(f"{name}: {value:g}{unit} is outside {low:g} to {high:g}{unit}")
        if not 1 <= self.bend_range_semitones <= 96:
            raise OptionError(f"bend range: {self.bend_range_semitones} is outside 1 to 96 semitones")

    def _number(self, name: str, field: str) -> float:
        """A field as the floating-point number it is meant to be, whatever number was given."""
        given = getattr(self, field)
        try:
            value = float(given)
        except (TypeError, ValueError, OverflowError):
            raise OptionError(f"{name}: {given!r} is not a number") from None
        object.__setattr__(self, field, value)  # only while this frozen value is made
        return value

    def _whole(self, name: str, field: str) -> None:
        """Make a field the whole number it is meant to be, also one of NumPy."""
        given = getattr(self, field)
        try:
            whole = int(given)
        except (TypeError, ValueError, OverflowError):
            whole = None
        if whole is None or whole != given:  # the text "7" is not 7
            raise OptionError(f"{name}: {given!r} is not a whole number")
        object.__setattr__(self, field, whole)


_RANGES = (
    ("line weight", "line_weight", 0.0, MOST_LINE_WEIGHT, ""),
    ("reference", "reference_hz", 380.0, 500.0, " Hz"),
    ("glide", "glide_ms", 0.0, MOST_GLIDE_MS, " ms"),
)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError
    return value


def _one_of(name: str, value: object, legal: tuple[object, ...]) -> None:
    if value not in legal:
        raise OptionError(f"{name}: {value!r} is not one of {', '.join(map(str, legal))}")


def option_values(options: Options) -> dict[str, Any]:
    """Options as JSON-able values; "none" where there is no limit."""
    return {name: "none" if value == inf else value for name, value in asdict(options).items()}

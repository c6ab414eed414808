"""Everything the user may say, resolved once into frozen values that the stages work from."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isnan

from retune.errors import OptionError

ENCODINGS = ("bend", "mpe", "mts", "mts-octave", "midi2")
PRIME_LIMITS = (3, 5, 7, 11, 13)
WHEN_FULL = ("share", "ports", "files")
CHORDS = ("find", "markers")


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of a conversion.

    Limits are in cents; `inf` means no limit. `fixed` holds PART or PART=TEMPERAMENT texts as given.
    Raises `OptionError` when a value is outside what can be obeyed.
    """

    encoding: str = "bend"
    prime_limit: int = 5
    drift_limit_cents: float = 15.0
    hold_limit_cents: float = 1.0
    purity_first: bool = False  # chords exactly pure whatever lines must do (see tuning presets)
    line_weight: float = 1.0  # how much still lines count beside pure chords, 1 = as chosen by experiment
    reference_hz: float = 440.0
    home: str = "mean"  # "mean", "tonic", or a note name such as "A"
    fixed: tuple[str, ...] = ()
    bend_range_semitones: int = 2
    glide_ms: float = 0.0
    when_full: str = "share"
    keep_channel_10_free: bool = True
    chords: str = "find"  # "find" or "markers"

    def __post_init__(self) -> None:
        _one_of("encoding", self.encoding, ENCODINGS)
        _one_of("prime limit", self.prime_limit, PRIME_LIMITS)
        _one_of("when-full", self.when_full, WHEN_FULL)
        _one_of("chords", self.chords, CHORDS)
        for name, value in (("drift", self.drift_limit_cents), ("hold", self.hold_limit_cents)):
            if isnan(value) or value < 0:
                raise OptionError(f"{name} limit: {value} is not a number of cents of 0 or more")
        if not 380.0 <= self.reference_hz <= 500.0:
            raise OptionError(f"reference: {self.reference_hz} Hz is outside 380 to 500 Hz")
        if not 1 <= self.bend_range_semitones <= 96:
            raise OptionError(f"bend range: {self.bend_range_semitones} is outside 1 to 96 semitones")
        if not 0.0 <= self.glide_ms < inf:
            raise OptionError(f"glide: {self.glide_ms} is not a number of milliseconds of 0 or more")


def _one_of(name: str, value: object, legal: tuple[object, ...]) -> None:
    if value not in legal:
        raise OptionError(f"{name}: {value!r} is not one of {', '.join(map(str, legal))}")

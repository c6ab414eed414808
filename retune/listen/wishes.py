"""What a listener may ask for, resolved once into a frozen value."""

from __future__ import annotations

from dataclasses import dataclass

from retune.errors import OptionError
from retune.listen.audio import BIT_DEPTHS
from retune.listen.spectra import AMPLITUDES

HEAR = ("retuned", "original", "ab")
BESIDE = ("nothing", "drone", "rest")
OWN_SOUNDS = tuple(AMPLITUDES)
SOUNDFONT_SOUNDS = ("soundfont", "original")
SOUNDS = OWN_SOUNDS + SOUNDFONT_SOUNDS
PLAYERS = ("auto", "midirenderer", "fluidsynth")
SAMPLE_RATES = (22050, 44100, 48000, 88200, 96000)
SAFE_PEAK_DBFS = -12.0  # steady tones tire the ear sooner than music: start low, turn up by hand
LOUDEST_PEAK_DBFS = -1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What to hear and how. Raises `OptionError` when a value cannot be obeyed.

    `hear` ab plays every phrase as it was and then retuned. `parts` narrows to some parts, `beside` says
    what sounds with them. `first_bar`/`last_bar` (both included) cut, `times` repeats the whole.
    """

    hear: str = "retuned"
    parts: tuple[str, ...] = ()
    beside: str = "nothing"
    first_bar: int | None = None
    last_bar: int | None = None
    times: int = 1
    speed: float = 1.0
    sound: str = "organ"
    soundfont: bytes | None = None  # an SF2 file; None: the one that comes with pretty_midi
    player: str = "auto"
    drums: bool = False
    peak_dbfs: float = SAFE_PEAK_DBFS
    rate: int = 44100

    def __post_init__(self) -> None:
        for name, value, legal in (
            ("hear", self.hear, HEAR),
            ("with", self.beside, BESIDE),
            ("sound", self.sound, SOUNDS),
            ("player", self.player, PLAYERS),
            ("sample rate", self.rate, SAMPLE_RATES),
        ):
            if value not in legal:
                raise OptionError(f"{name}: {value!r} is not one of {', '.join(map(str, legal))}")
        if self.beside != "nothing" and not self.parts:
            raise OptionError(f"with {self.beside}: say which part it goes with (--part)")
        if self.soundfont is not None:
            if self.sound not in SOUNDFONT_SOUNDS:
                raise OptionError(
                    f"sound {self.sound} is made without a SoundFont: leave out --soundfont, or choose --sound "
                    f"{' or '.join(SOUNDFONT_SOUNDS)}"
                )
            if self.soundfont[:4] != b"RIFF" or self.soundfont[8:12] != b"sfbk":
                raise OptionError(
                    "soundfont: the file is no SoundFont (it does not begin with RIFF and sfbk); use an SF2 file"
                )
        if not 1 <= self.times <= 1000:
            raise OptionError(f"times: {self.times} is outside 1 to 1000")
        if not 0.1 <= self.speed <= 4.0:
            raise OptionError(f"speed: {self.speed:g} is outside 0.1 to 4")
        if not -60.0 <= self.peak_dbfs <= LOUDEST_PEAK_DBFS:
            raise OptionError(f"peak: {self.peak_dbfs:g} dB is outside -60 to {LOUDEST_PEAK_DBFS:g}")


__all__ = ["BESIDE", "BIT_DEPTHS", "HEAR", "PLAYERS", "SAMPLE_RATES", "SOUNDS", "Wishes"]

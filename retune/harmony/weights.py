"""Numbers of the harmony finder that no source gives: chosen by hand, checked on human analyses."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """How much each kind of evidence counts."""

    pedal: float = 0.5  # sound after the release, under the sustain pedal, against sound under the finger
    held: float = 0.9  # a note sounding on from an earlier step, against one that starts
    passing: tuple[float, ...] = (
        0.9,
        0.85,
        0.8,
        0.6,
        0.5,
        0.5,
    )  # left and reached by step, by metrical strength
    neighbour: tuple[float, ...] = (0.9, 0.8, 0.75, 0.5, 0.45, 0.45)
    length_power: float = 1.0
    voices_power: float = 0.5
    bass_register: float = 5.0  # semitones
    # fit of a pitch class in a chord
    root: float = 1.25
    third: float = 1.0
    fifth: float = 0.9
    seventh: float = 0.55
    outside: float = -1.1
    # bass
    bass_root: float = 0.55
    bass_third: float = 0.1
    bass_fifth: float = 0.0
    bass_seventh: float = 0.0
    bass_outside: float = -0.3
    # cost of a change of chord, by metrical strength
    change: tuple[float, ...] = (0.9, 1.0, 1.2, 1.9, 2.8, 3.2)


WEIGHTS = Weights()

"""Numbers of the harmony finder that no source gives: chosen by hand, checked on human analyses."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """How much each kind of evidence counts."""

    pedal: float = 0.3  # sound after the release, under the sustain pedal, against sound under the finger
    ringing_bass: float = 0.6  # a bass that only rings on under the pedal
    held: float = 0.8  # a note sounding on from an earlier step, against one that starts
    # a note reached and left by step, by metrical strength (see `Grid.strength`)
    passing: tuple[float, ...] = (0.9, 0.85, 0.8, 0.6, 0.5, 0.5)
    neighbour: tuple[float, ...] = (0.9, 0.8, 0.75, 0.5, 0.45, 0.45)
    voices_power: float = 0.4  # n notes of a pitch class speak as n to this power
    bass_register: float = 5.0  # [semitones] a lowest note this far above its neighbourhood is 1/e of a bass
    echo: float = 0.4  # a bass note that has stopped, under what follows it higher up
    lone: float = 0.4  # a pitch class that sounds alone, not as a bass
    lone_bass: float = 0.3  # a note that sounds alone is as much tune as bass
    melody: float = 0.35  # a melody beside a part that plays chords


WEIGHTS = Weights()

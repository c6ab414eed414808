"""How much each wish counts in the tuning problem.

All of them were chosen by experiment on choral, madrigal, keyboard and sequenced scores (docs/tuning.md tells
what each trades against what).

A weight of 1 is one quarter note of one sounding interval being one cent off pure.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """One set of weights; `retune.tuning.presets` names the sets a user may choose."""

    pair: float = 1.0  # two notes sounding together [per quarter]
    octave: float = 2.0  # times as much for unisons and octaves: the ear forgives a third first
    insisted: float = 20.0  # times as much for intervals in windows whose ratios the user gave
    ringing: float = 0.25  # share of a pair's weight while one of them only rings on under the pedal
    frame: float = 0.3  # a chord tone against its window's root, sounding or not [per quarter]
    frame_foreign: float = 0.02  # a non-chord tone against its window's root [per quarter]
    repeat: float = 2.6  # a note struck again at once in its part [per root of its quarters]
    far_repeat: float = 0.15  # share of that weight left for one that returns after other notes
    step: float = 0.03  # a passing or neighbour note against the notes around it [per quarter]
    stride: float = 0.35  # a melodic step too wide or too narrow [per step]
    leap: float = 0.15  # a melodic fourth, fifth or octave that is not pure [per leap]
    held: float = 1.0  # movement of a sounding note [per change]
    prepared: float = (
        20.0  # a suspension or a pedal against the pitch it had, held or struck again [per change]
    )
    homing: float = 0.002  # windows come back to their equal-tempered pitch [per quarter and cent²]
    home: float = 0.03  # the same for what the user calls home


REPEAT_REACH_QUARTERS = 4.0  # a note struck again after a longer rest is no repeat
REPEAT_FADING_QUARTERS = 2.5
"""Over this gap the weight of a repeat fades: tones in between blur the memory of a pitch (D. Deutsch, *Science* 168,
1970; from memory). A steep fade makes both purer chords and stiller repeats than an even one over the whole reach."""
STRIDE_GAP_QUARTERS = 2.0  # a longer rest ends a line
STRIDES = ((70.6, 111.8), (170.1, 234.9))
"""Sizes [cents] a melodic semitone and whole tone may have: from the small semitone 25/24 (70.7) to the diatonic one
16/15 (111.7), from below the minor tone 10/9 (182.4) to the septimal tone 8/7 (231.2). A semitone is heard as one up to
some 130; but what lies beyond 16/15 is the great limma 27/25 (133.2), a comma wider: to draw that to 130 alone makes
a lurch a little smaller and a chord a little impure."""
LEAPS = (5, 7, 12)
"""Melodic intervals [semitones] that a line is heard to leap by."""
HOLD_WORTH_MOVING_CENTS = 2.0
"""Below this hold limit a note is given one offset for all its length. Moving it by less is inaudible
as pitch (5 cents is the usual rule of thumb; Hill & Summers, *JASA* 121, 2007, find
more), and costs bends."""
PARTNERS_PER_NOTE = 64  # overlapping notes, on average; more than this is no music
PARTNERS_IN_A_CROWD = 16  # where there are more, so many are heard of each note: time grows with their square

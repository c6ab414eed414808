"""Single lines: notes repeated within a part, and melodic steps."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from retune.check.measures.tuned import TunedNotes
from retune.check.receiver.sounding import BoolArray, FloatArray, IntArray
from retune.constants import CHORD_SHARE
from retune.units import ratio_to_cents

LINE_GAP_QUARTERS = 2.0  # a longer rest ends the line (chosen: common practice, no source)
SEMITONE_CENTS = (70.0, 130.0)  # from the small semitone 25/24, 70.7, to the great limma 27/25, 133.2
WHOLE_TONE_CENTS = (170.0, 235.0)  # from below the minor tone 10/9, 182.4, to the septimal tone 8/7, 231.2
COMMA_JUMP_CENTS = ratio_to_cents(81, 80) / 2  # nearer to a syntonic comma than to standing still


class Moves(NamedTuple):
    """Neighbouring notes of a part, one row each."""

    earlier: IntArray  # note numbers
    later: IntArray
    cents: FloatArray  # repeats: shift, 0 or more; steps: size, 0 or more

    def where(self, mask: BoolArray) -> Moves:
        """The rows of a mask."""
        return Moves(earlier=self.earlier[mask], later=self.later[mask], cents=self.cents[mask])


def repeats(notes: TunedNotes) -> Moves:
    """A note and the next of its key in its part, if that follows within two quarters; how far it shifts."""
    heard = notes.note[notes.first_rows]
    order = heard[np.lexsort((notes.onset[heard], notes.key[heard], notes.part[heard]))]
    earlier, later = order[:-1], order[1:]
    same = (notes.part[earlier] == notes.part[later]) & (notes.key[earlier] == notes.key[later])
    follows = same & _near(notes, earlier, later, overlap=False)
    earlier, later = earlier[follows], later[follows]
    return Moves(earlier=earlier, later=later, cents=np.abs(_rise(notes, earlier, later)))


def comma_jumps(notes: TunedNotes) -> Moves:
    """Repeated notes that shift by more than half a syntonic comma."""
    moves = repeats(notes)
    return moves.where(moves.cents > COMMA_JUMP_CENTS)


def odd_steps(notes: TunedNotes) -> Moves:
    """Melodic steps whose size leaves what is heard as a semitone or a whole tone.

    A step leads from a note to the next onset of its part, a semitone or whole tone away, where the part
    strikes one note at a time (`CHORD_SHARE`) and rests for less than two quarters.
    """
    heard = notes.note[notes.first_rows]
    order = heard[np.lexsort((notes.onset[heard], notes.part[heard]))]
    part, onset = notes.part[order], notes.onset[order]
    length = notes.release[order] - onset
    shared = (part[1:] == part[:-1]) & (np.diff(onset) <= CHORD_SHARE * np.minimum(length[1:], length[:-1]))
    alone = ~(np.append(shared, False) | np.append(False, shared))[: len(order)]
    earlier, later = order[:-1], order[1:]
    semitones = np.abs(notes.key[later] - notes.key[earlier])
    step = alone[:-1] & alone[1:] & (part[1:] == part[:-1]) & np.isin(semitones, (1, 2))
    step &= _near(notes, earlier, later, overlap=True)
    earlier, later, semitones = earlier[step], later[step], semitones[step]
    up = np.sign(notes.key[later] - notes.key[earlier])
    size = 100.0 * semitones + up * _rise(notes, earlier, later)
    low = np.where(semitones == 1, SEMITONE_CENTS[0], WHOLE_TONE_CENTS[0])
    high = np.where(semitones == 1, SEMITONE_CENTS[1], WHOLE_TONE_CENTS[1])
    return Moves(earlier=earlier, later=later, cents=size).where((size < low) | (size > high))


def _near(notes: TunedNotes, earlier: IntArray, later: IntArray, *, overlap: bool) -> BoolArray:
    """Whether the later note begins within two quarters of the earlier one's end."""
    gap = notes.onset[later] - notes.release[earlier]
    near: BoolArray = gap < LINE_GAP_QUARTERS * notes.ticks_per_quarter
    return near if overlap else near & (gap >= 0)


def _rise(notes: TunedNotes, earlier: IntArray, later: IntArray) -> FloatArray:
    """Cents from the end of the earlier note's offset to the start of the later one's."""
    first, last = np.zeros(len(notes.onset)), np.zeros(len(notes.onset))
    first[notes.note[notes.first_rows]] = notes.cents[notes.first_rows]
    last[notes.note[notes.last_rows]] = notes.cents[notes.last_rows]
    result: FloatArray = first[later] - last[earlier]
    return result

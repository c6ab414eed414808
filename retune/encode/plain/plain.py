"""The input made plain for an encoding: what notes on other channels would lose is said in another way."""

from __future__ import annotations

import mido
import numpy as np

from retune.constants import CC_BANK_MSB
from retune.encode.plain.dissolve import dissolved
from retune.encode.plain.own_tables import absorbed
from retune.errors import InputError
from retune.options import Options
from retune.score.model import Score
from retune.score.parts import notes_of_kits
from retune.score.resets import tells_parts
from retune.tuning.model import Tuning

_BY_TABLES = frozenset(("mts", "mts-octave"))
_SETTINGS = frozenset(("control_change", "sysex"))  # what configures zones, tables and kits
OCTAVE_REACH_CENTS = 99.9
"""How far octave tables reach (MIDI Tuning Updated Specification p. 8: -100 to +99.988 cents)."""


def plain(score: Score, tuning: Tuning, options: Options) -> tuple[Score, Tuning, float]:
    """Score and tuning that sound the same without zones and tables; and the error of that [cents].

    Where octave tables do not reach as far as single note tunings of the input, these stay in the file.
    """
    if not any(message.type in _SETTINGS for message in score.different_messages):
        return score, tuning, 0.0
    without, whole = absorbed(score, tuning)
    if options.encoding == "mts-octave" and _reach(whole) > max(OCTAVE_REACH_CENTS, _reach(tuning)):
        without, whole = absorbed(score, tuning, keys=False)
    if without is not score or options.encoding in _BY_TABLES:
        _refuse_kits_that_end(score)
    without, error = dissolved(without)
    return without, whole, error


def _refuse_kits_that_end(score: Score) -> None:
    """What starts as drums is not retuned; where it goes on as notes, tables would tune it all the same.

    Raises `InputError`.
    """
    if not any(part.is_percussion for part in score.parts) or not any(
        map(_may_change_kits, score.different_messages)
    ):
        return
    drums = np.array([part.is_percussion for part in score.parts], bool)[score.notes["part"]]
    notes = np.flatnonzero(drums & ~notes_of_kits(score))
    if len(notes):
        row = score.notes[notes[0]]
        raise InputError(
            f"{score.where(int(row['onset_tick']))}: {score.parts[int(row['part'])].name} is drums at first and no "
            "drums from here on, which tuning tables cannot tell apart; give the drums a channel of their own"
        )


def _may_change_kits(message: mido.Message) -> bool:
    if message.type == "control_change":
        return bool(message.control == CC_BANK_MSB)
    return message.type == "sysex" and tells_parts(message.data)


def _reach(tuning: Tuning) -> float:
    return float(np.abs(tuning.offsets["offset_cents"]).max(initial=0.0))

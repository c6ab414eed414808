"""An original and a decoded file beside each other, and how their notes and differences are told."""

from __future__ import annotations

from typing import NamedTuple

from retune.check.receiver.sounding import IntArray, Sounding, Table
from retune.harmony.spelling import spell
from retune.score.model import Score


class Comparison(NamedTuple):
    """An original and a decoded file, note by note."""

    score: Score
    original: (
        Sounding  # the score as a receiver sounds it, notes in the order of `score.notes`, released as there
    )
    decoded: Sounding  # in the ticks of the score
    place: IntArray  # (n_decoded,) number of the original note, -1 for one too many
    pairs: tuple[IntArray, IntArray]  # original notes, decoded notes that belong together
    before: Table  # HEARD_DTYPE, the original notes of these
    after: Table  # HEARD_DTYPE, the decoded ones
    heard: Table  # CURVE_DTYPE, the decoded pitches of these, notes numbered as in the score


def note_at(score: Score, note: int) -> str:
    """A note as a person finds it: "C4 in Alto at bar 2, beat 1"."""
    row = score.notes[note]
    part = score.parts[int(row["part"])].name
    return f"{key_name(int(row['key']))} in {part} at {score.where(int(row['onset_tick']))}"


def key_name(key: int) -> str:
    """Scientific pitch name of a key: 60 is C4."""
    return f"{spell(key % 12, 0)}{key // 12 - 1}"


def counted(number: int, what: str) -> str:
    """A count and what it counts, in the right number: 1 note is missing, 3 notes are missing."""
    if number == 1:
        return f"1 {what}"
    noun, verb, rest = _split(what)
    return f"{number} {noun}s {verb} {rest}"


def _split(what: str) -> tuple[str, str, str]:
    for verb, plural in (("is", "are"), ("has", "have")):
        noun, found, rest = what.partition(f" {verb} ")
        if found:
            return noun, plural, rest
    raise ValueError(what)

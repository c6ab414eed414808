"""The check itself: an original and what became of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from retune.arrays import begins
from retune.check.comparison import Comparison, note_at
from retune.check.kept.fidelity import compare
from retune.check.matching import match_by_pitch, match_notes, note_columns
from retune.check.measures.tuned import numbered_as
from retune.check.realised import Realised, realised
from retune.check.receiver.decode import decode, decode_score
from retune.check.receiver.sounding import FloatArray, Sounding, folded, joined, renumbered
from retune.check.report import CheckReport, Measured
from retune.errors import Remark
from retune.harmony.model import Harmony
from retune.options import Options
from retune.ratios.model import Ratios
from retune.score import read_score
from retune.score.model import Score
from retune.tuning.model import Tuning
from retune.units import reference_shift_cents

ALLOWED_ERROR_CENTS = 0.5
"""Half a step of the coarsest encoding (MPE at 48 semitones: 0.29; one-byte tables: 0.5), see docs/checking.md."""
ROUNDING_CENTS = 0.01  # on top of an error that was announced: sums of rounded numbers


class WrittenFile(Protocol):
    """A file of a conversion."""

    @property
    def data(self) -> bytes:
        """Its bytes."""


class Written(Protocol):
    """What a conversion is about to write, with the largest error it announces."""

    @property
    def files(self) -> Sequence[WrittenFile]:
        """The files."""

    @property
    def worst_error_cents(self) -> float:
        """Largest known distance from the tuning [cents]."""


def check(
    original: bytes | Score,
    retuned: bytes | Sequence[bytes] | Written,
    *,
    intended: Tuning | tuple[Score, Tuning] | None = None,
    harmony: Harmony | None = None,
    ratios: Ratios | None = None,
    options: Options | None = None,
    allowed_error_cents: float | None = None,
    names: tuple[str, str] = ("original", "retuned file"),
) -> CheckReport:
    """Decode a retuned file as a receiver would and compare it with its original.

    Parameters
    ----------
    original
        Bytes, or the score already read from them.
    retuned
        Bytes, or several files that are played together, or what `encode` returns.
    intended
        The tuning the file is meant to carry; without it pitch is measured, not judged.
    harmony, ratios
        For the displacement figures; without `harmony` they are None.
    options
        For the reference pitch, and the prime limit that says what is pure.
    allowed_error_cents
        Largest distance from `intended`. Default: what `retuned` announces, else `ALLOWED_ERROR_CENTS`.
    names
        How messages call the two files.

    Raises
    ------
    InputError
        If either cannot be read.

    """
    score = original if isinstance(original, Score) else read_score(original, name=names[0])
    datas, allowed = _files(retuned, allowed_error_cents)
    tuning = intended[1] if isinstance(intended, tuple) else intended
    both = _compare_notes(score, joined([decode(data, name=names[1]) for data in datas]), tuning)
    fidelity, problems = compare(both)
    error = None if tuning is None else realised(both, tuning)
    if error is not None:
        problems += _judge(score, error, allowed)
        problems += [f"the file needs mending: {remark}" for remark in _new_damage(both)]
    options = options or Options()
    return CheckReport(
        problems=tuple(problems),
        fidelity=fidelity,
        error=error,
        allowed_error_cents=allowed,
        channels=both.decoded.channels,
        ports=both.decoded.ports,
        measured=Measured(
            both=both,
            harmony=harmony,
            ratios=ratios,
            prime_limit=options.prime_limit,
            reference_cents=reference_shift_cents(options.reference_hz),
        ),
        remarks=(*both.decoded.remarks, *_tail_remarks(both, error, allowed)),
    )


def _files(retuned: bytes | Sequence[bytes] | Written, allowed: float | None) -> tuple[list[bytes], float]:
    if isinstance(retuned, bytes | bytearray | memoryview):
        return [bytes(retuned)], ALLOWED_ERROR_CENTS if allowed is None else allowed
    if isinstance(retuned, Sequence):
        return [bytes(data) for data in retuned], ALLOWED_ERROR_CENTS if allowed is None else allowed
    announced = retuned.worst_error_cents + ROUNDING_CENTS
    return [file.data for file in retuned.files], announced if allowed is None else allowed


def _compare_notes(score: Score, decoded: Sounding, tuning: Tuning | None) -> Comparison:
    """Find each decoded note in the original."""
    original = decode_score(score)
    original.notes["release_tick"] = score.notes["release_tick"]  # as mended
    if decoded.ticks_per_quarter != max(round(original.ticks_per_quarter), 1):
        # else the ticks are the same: what a time code has over whole ticks a quarter is in the tempo of a clip
        decoded = decoded.scaled(original.ticks_per_quarter / decoded.ticks_per_quarter)
    decoded = folded(decoded, original.track_names)
    has_tracks = decoded.format != 2
    at_onset = _first_cents(original)
    if tuning is not None:
        first = tuning.offsets[begins(tuning.offsets["note"])]
        at_onset[first["note"]] += first["offset_cents"]
    mine = note_columns(original.notes, at_onset, has_tracks=has_tracks)
    theirs = note_columns(decoded.notes, _first_cents(decoded), has_tracks=has_tracks)
    place = match_notes(mine, theirs)
    if not has_tracks:
        place = match_by_pitch(mine, theirs, place)
        decoded = renumbered(
            decoded, np.where(place >= 0, original.notes["key"][place], decoded.notes["key"])
        )
    matched = np.flatnonzero(place >= 0)
    return Comparison(
        score=score,
        original=original,
        decoded=decoded,
        place=place,
        pairs=(place[matched], matched),
        before=original.notes[place[matched]],
        after=decoded.notes[matched],
        heard=numbered_as(decoded.curve, place),
    )


def _first_cents(sounding: Sounding) -> FloatArray:
    """(n_notes,) cents at the onset of each note; every note has a row."""
    curve = sounding.curve
    result: FloatArray = curve["cents"][begins(curve["note"])]
    return result


def _judge(score: Score, error: Realised, allowed: float) -> list[str]:
    if error.worst_cents <= allowed:
        return []
    where = score.where(error.worst_tick)
    note = note_at(score, error.worst_note)
    return [
        f"at {where}, {note} sounds {error.worst_cents:.2f} cents from the tuning (allowed {allowed:.2f})"
    ]


def _new_damage(both: Comparison) -> list[Remark]:
    """What had to be mended in the retuned file and had not been in the original."""
    known = {remark.code for remark in both.score.remarks}
    return [remark for remark in both.decoded.remarks if remark.code not in known]


def _tail_remarks(both: Comparison, error: Realised | None, allowed: float) -> list[Remark]:
    """What a receiver sounds differently after the release; the notes themselves are as meant."""
    remarks = []
    if error is not None and error.worst_tail_cents > allowed:
        text = f"notes held by the pedal move up to {error.worst_tail_cents:.1f} cents after their release"
        remarks.append(Remark(code="tails-move", message=text))
    ringing = np.flatnonzero(both.before["sounding_end_tick"] != both.after["sounding_end_tick"])
    if len(ringing):
        text = f"{len(ringing)} of {len(both.before)} notes ring on longer or shorter under the pedal"
        where = both.score.where(int(both.before["release_tick"][ringing[0]]))
        remarks.append(Remark(code="ring", message=text, where=where))
    return remarks

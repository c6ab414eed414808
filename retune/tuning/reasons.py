"""Why an interval could not be pure: which note is tied to a pitch elsewhere, and what keeps the chord from it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from retune.constants import SYNTONIC_COMMA
from retune.harmony.model import Harmony, Role
from retune.harmony.spelling import chord_label, spell_in_chord
from retune.options import Options
from retune.ratios.consonances import SENARIO
from retune.ratios.model import Ratios
from retune.score.model import Score
from retune.tuning.model import Tuning
from retune.tuning.partners import fixed_parts
from retune.tuning.rows import piece_deviations, repeats
from retune.units import ratio_to_cents

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

AT_THE_LIMIT_CENTS = (
    0.05  # a root this near to its limit is stopped by it (the solver keeps a margin of 0.0125)
)
FITS_CENTS = 1.0  # a note this near to its place in a chord is pure there (as `share_within_1_cent` counts)
SAME_PITCH_CENTS = 0.5

_CONSONANT = frozenset(SENARIO)
_MOVING = {
    Role.PASSING: "a passing note",
    Role.NEIGHBOUR: "a neighbour note",
    Role.ANTICIPATION: "anticipated",
}


class Context(NamedTuple):
    """What reasons are found in."""

    score: Score
    harmony: Harmony
    tuning: Tuning
    fixed: frozenset[int]
    drift_limit: Floats  # (n_windows,)
    place: Floats  # (n_pieces,) where each piece's chord has it, as an offset [cents]
    first_piece: Ints  # (n_notes + 1,) pieces of note n: first_piece[n] to first_piece[n + 1]
    first_row: Ints  # (n_notes + 1,) rows of `tuning.offsets`, likewise
    by_window: Ints  # (n_pieces,) pieces in the order of their windows
    window_start: (
        Ints  # (n_windows + 1,) pieces of window k: by_window[window_start[k] : window_start[k + 1]]
    )
    repeats_of: dict[int, int]  # note -> the note it repeats
    repeated_by: dict[int, int]

    def offset_at(self, note: int, tick: int) -> float:
        """Offset of a note at a tick [cents]."""
        low, high = self.first_row[note], self.first_row[note + 1]
        starts = self.tuning.offsets["start_tick"][low:high]
        row = low + max(int(np.searchsorted(starts, tick, side="right")) - 1, 0)
        return float(self.tuning.offsets["offset_cents"][row])

    def pieces_of(self, note: int) -> range:
        """Indices into `harmony.pieces`."""
        return range(int(self.first_piece[note]), int(self.first_piece[note + 1]))

    def piece_in(self, note: int, window: int) -> int:
        """The piece of a note in a window, or the one next to it."""
        pieces = self.pieces_of(note)
        windows = self.harmony.pieces["window"][pieces.start : pieces.stop]
        return min(int(pieces.start + np.searchsorted(windows, window)), pieces.stop - 1)

    def sounding_in(self, window: int, tick: int) -> Iterator[int]:
        """The pieces of a window that sound at a tick."""
        rows = self.harmony.pieces
        for piece in self.by_window[self.window_start[window] : self.window_start[window + 1]].tolist():
            if rows["start_tick"][piece] <= tick < rows["end_tick"][piece]:
                yield piece

    def miss(self, piece: int) -> float:
        """How far a piece lies from the place its chord has for it [cents]; nan if it is no chord tone."""
        row = self.harmony.pieces[piece]
        if row["role"] != Role.CHORD:
            return float("nan")
        return self.offset_at(int(row["note"]), int(row["start_tick"])) - float(self.place[piece])

    def fits(self, piece: int) -> bool:
        """True if the piece is a chord tone in its pure place."""
        return abs(self.miss(piece)) <= FITS_CENTS

    def label(self, window: int) -> str:
        """The window's chord as a musician writes it."""
        row = self.harmony.windows[window]
        return chord_label(row, self.harmony.key_at(int(row["start_tick"])))

    def spelled(self, note: int, window: int) -> str:
        """Name of a note in a window."""
        row = self.harmony.windows[window]
        pitch_class = int(self.score.notes["key"][note]) % 12
        return spell_in_chord(pitch_class, row, self.harmony.key_at(int(row["start_tick"])))

    def onset_words(self, note: int) -> str:
        """Bar and beat where a note begins."""
        return self.score.where(int(self.score.notes["onset_tick"][note]))


def context(
    score: Score,
    harmony: Harmony,
    ratios: Ratios,
    tuning: Tuning,
    options: Options,
    drift_limit: Floats | None = None,
) -> Context:
    """Look up once what every reason needs."""
    tuning = tuning.counted_from(options.reference_hz)  # as displacements and ratios are
    index = np.arange(len(score.notes) + 1)
    earlier, later, _ = repeats(score)
    limit = np.full(len(harmony.windows), options.drift_limit_cents) if drift_limit is None else drift_limit
    window_of = harmony.pieces["window"]
    order = np.argsort(window_of, kind="stable")
    place = tuning.displacement_cents[window_of] + piece_deviations(score, harmony, ratios)
    return Context(
        score=score,
        harmony=harmony,
        tuning=tuning,
        fixed=frozenset(fixed_parts(options, score.parts)),
        drift_limit=limit,
        place=place,
        first_piece=np.searchsorted(harmony.pieces["note"], index),
        first_row=np.searchsorted(tuning.offsets["note"], index),
        by_window=order,
        window_start=np.searchsorted(window_of[order], np.arange(len(harmony.windows) + 1)),
        repeats_of=dict(zip(later.tolist(), earlier.tolist(), strict=True)),
        repeated_by=dict(zip(earlier.tolist(), later.tolist(), strict=True)),
    )


def reason(c: Context, notes: tuple[int, int], window: int, tick: int, cents: float) -> str:
    """Why the interval of two notes (lower, upper) is `cents` wide of its ratio, from a tick in a window.

    Only notes that miss their place in the chord are to blame. The first cause that holds is told: a fixed part,
    a tie to another chord or another stroke of the note, the step of a moving note, a tie of a note it is pure
    with, the drift limit.
    """
    blamed = _to_blame(c, notes, window, cents)
    return (
        _fixed(c, notes, window, cents)
        or _tied(c, notes, blamed, window)
        or _moving(c, notes, window)
        or _tied_through_another(c, notes, blamed, window, tick)
        or _stopped(c, notes, window)
        or f"not every interval that sounds with {c.label(window)} can be pure at once, "
        "and it costs least if this one is not"
    )


def _fixed(c: Context, notes: tuple[int, int], window: int, cents: float) -> str:
    parts = [c.score.parts[int(c.score.notes["part"][note])] for note in notes]
    fixed = [part.index in c.fixed for part in parts]
    if all(fixed):
        names = list(dict.fromkeys(part.name for part in parts))
        return f"{' and '.join(names)} {'are' if len(names) > 1 else 'is'} fixed"
    for note, part, is_fixed, wanted in zip(notes, parts, fixed, (cents, -cents), strict=True):
        if is_fixed:
            name = c.spelled(note, window)
            return f"{part.name} is fixed, and {c.label(window)} wants its {name} {much(wanted)}"
    return ""


def _to_blame(c: Context, notes: tuple[int, int], window: int, cents: float) -> list[tuple[int, float]]:
    """Notes that are not where the chord has them, and by how much they would have to move, the furthest first."""
    found = []
    for note, wanted in zip(notes, (cents, -cents), strict=True):
        miss = c.miss(c.piece_in(note, window))
        if np.isnan(miss):  # no chord tone: measured by the other note
            found.append((note, wanted))
        elif abs(miss) > FITS_CENTS:
            found.append((note, -miss))
    found = found or [(note, wanted) for note, wanted in zip(notes, (cents, -cents), strict=True)]
    return sorted(found, key=lambda item: -abs(item[1]))


def _tied(c: Context, notes: tuple[int, int], blamed: list[tuple[int, float]], window: int) -> str:
    for note, wanted in blamed:
        tie = next(_ties(c, note, window), "")
        if not tie:
            continue
        if np.isnan(c.miss(c.piece_in(note, window))):
            other = c.spelled(notes[1] if note == notes[0] else notes[0], window)
            return f"{c.spelled(note, window)} {tie}, but would be pure with {other} {much(wanted)}"
        text = f"{c.spelled(note, window)} {tie}, but {c.label(window)} wants it {much(wanted)}"
        return text + _and_blocked(c, window, -wanted)
    return ""


def _tied_through_another(
    c: Context, notes: tuple[int, int], blamed: list[tuple[int, float]], window: int, tick: int
) -> str:
    """A note that is free itself may follow one that is not, such as the bass of a held octave."""
    for note, wanted in blamed:
        for piece in c.sounding_in(window, tick):
            other = int(c.harmony.pieces["note"][piece])
            apart = abs(int(c.score.notes["key"][other]) - int(c.score.notes["key"][note])) % 12
            if other in notes or apart not in _CONSONANT or not abs(c.miss(piece) + wanted) <= FITS_CENTS:
                continue
            tie = next(_ties(c, other, window), "")
            if tie:
                part = c.score.parts[int(c.score.notes["part"][other])].name
                names = f"{c.spelled(note, window)} is pure with the {c.spelled(other, window)} of {part}"
                text = f"{names}, which {tie}, but {c.label(window)} wants both {much(wanted)}"
                return text + _and_blocked(c, window, -wanted)
    return ""


def _and_blocked(c: Context, window: int, move_cents: float) -> str:
    if not _blocked(c, window, move_cents):
        return ""
    return f" and may not move past {_limit(c, window)} to meet it"


def _ties(c: Context, note: int, window: int) -> Iterator[str]:
    """What keeps a note at its pitch, the most audible first."""
    pieces = c.pieces_of(note)
    here = c.piece_in(note, window)
    before, after = range(here - 1, pieces.start - 1, -1), range(here + 1, pieces.stop)
    for piece in before:
        if c.fits(piece):
            yield f"is held from {_chord_at(c, piece)}"
    for piece in after:
        if c.fits(piece):
            yield f"is held on into {_chord_at(c, piece)}"
    name, starts = c.spelled(note, window), c.harmony.pieces["start_tick"]
    pitch = c.offset_at(note, int(starts[here]))
    earlier, later = c.repeats_of.get(note), c.repeated_by.get(note)
    if earlier is not None:
        last = c.offset_at(earlier, int(starts[c.pieces_of(earlier).stop - 1]))
        if abs(last - pitch) < SAME_PITCH_CENTS:
            yield f"repeats the {name} of {c.onset_words(earlier)}"
    if later is not None:
        first = c.offset_at(later, int(starts[c.pieces_of(later).start]))
        if abs(first - pitch) < SAME_PITCH_CENTS:
            yield f"is repeated in {c.onset_words(later)}"
    if len(before):
        yield f"is held from {_chord_at(c, pieces.start)}"
    if len(after):
        yield f"is held on into {_chord_at(c, here + 1)}"


def _chord_at(c: Context, piece: int) -> str:
    """The chord of a piece of a note, and where they are first heard together."""
    row = c.harmony.pieces[piece]
    tick = int(row["start_tick"])
    return f"the {c.label(int(row['window']))} chord of {c.score.where(tick)}"


def _moving(c: Context, notes: tuple[int, int], window: int) -> str:
    for note in notes:
        role = Role(int(c.harmony.pieces["role"][c.piece_in(note, window)]))
        if role in _MOVING:
            return f"{c.spelled(note, window)} is {_MOVING[role]} and follows the line, not the chord"
    return ""


def _stopped(c: Context, notes: tuple[int, int], window: int) -> str:
    for note in notes:
        miss = c.miss(c.piece_in(note, window))
        if abs(miss) > FITS_CENTS and _blocked(c, window, miss):
            return (
                f"{c.label(window)} would have to move past {_limit(c, window)} to agree with its neighbours"
            )
    return ""


def _blocked(c: Context, window: int, move_cents: float) -> bool:
    """True if the drift limit keeps the chord from moving that way."""
    at = float(c.tuning.displacement_cents[window])
    return abs(at) > float(c.drift_limit[window]) - AT_THE_LIMIT_CENTS and at * move_cents >= 0


def _limit(c: Context, window: int) -> str:
    return f"the drift limit of {float(c.drift_limit[window]):g} cents"


def much(cents: float) -> str:
    """In words: "a comma higher", "13.7 cents lower"."""
    if abs(abs(cents) - ratio_to_cents(*SYNTONIC_COMMA)) < SAME_PITCH_CENTS:
        return f"a comma {'higher' if cents > 0 else 'lower'}"
    return f"{abs(cents):.1f} cents {'higher' if cents > 0 else 'lower'}"

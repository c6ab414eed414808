"""Score, harmony, ratios and tuning → sheets."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.constants import A4_HZ
from retune.harmony.model import Role
from retune.harmony.spelling import root_name
from retune.parts.model import Move, Rule, Sheet, SheetNote, SheetOptions, Sheets
from retune.parts.names import chord_kind, chord_tone, chord_words, degree, function_words, key_at, pitch
from retune.score.upbeat import begins_with_upbeat
from retune.wording import plain

if TYPE_CHECKING:
    from collections.abc import Collection

    from retune.harmony.model import Harmony
    from retune.ratios.model import Ratios
    from retune.score.model import Score
    from retune.tuning.model import Tuning

IntArray = NDArray[np.int64]

# General MIDI 1 (RP-003), sound set, counted from 0: harpsichord and clavichord, dulcimer, guitars and basses but
# for the synthesized, strings, harp and ensembles of strings, sitar to koto, fiddle. Not the piano: in many files 0
# stands for anything.
STRING_PROGRAMS = frozenset({6, 7, 15, *range(24, 38), *range(40, 47), 48, 49, *range(104, 108), 110})
RULES = 4  # habits told on a sheet
RULE_LEAST = 3  # cases that make a habit (judgement)
RULE_SPREAD_CENTS = 6  # a habit whose notes differ by more is none (judgement)


def collect_sheets(
    score: Score,
    harmony: Harmony,
    ratios: Ratios,
    tuning: Tuning,
    options: SheetOptions | None = None,
    *,
    parts: Collection[int] | None = None,
    reference_hz: float = A4_HZ,
    title: str = "",
) -> Sheets:
    """Return a sheet for every pitched part that has notes (or the given parts), and chords to rehearse.

    Cents are counted from equal temperament at `reference_hz` [Hz]: the zero of a tuner set to it.
    """
    from retune.parts.rehearsal import slow_chords

    options = options or SheetOptions()
    source = _Source(score, harmony, ratios, tuning, reference_hz)
    sheets = []
    for part in score.parts:
        notes = np.flatnonzero(score.notes["part"] == part.index)
        if part.is_percussion or not len(notes) or (parts is not None and part.index not in parts):
            continue
        made = tuple(source.sheet_note(int(note), options) for note in notes)
        has_strings = part.program in STRING_PROGRAMS
        sheets.append(
            Sheet(
                part=part.index,
                name=plain(part.name),
                notes=made,
                rules=_rules(made),
                has_strings=has_strings,
            )
        )
    return Sheets(
        title=plain(title or score.title),
        reference_hz=reference_hz,
        options=options,
        sheets=tuple(sheets),
        chords=slow_chords(score, harmony, ratios, tuning, options.chords, reference_hz),
        fifths=key_at(harmony, 0).fifths,
        has_upbeat=begins_with_upbeat(score.meters),
    )


class _Source:
    """The stage results, with what is looked up for every note worked out once."""

    def __init__(
        self, score: Score, harmony: Harmony, ratios: Ratios, tuning: Tuning, reference_hz: float
    ) -> None:
        self.score, self.harmony, self.ratios = score, harmony, ratios
        self.offsets = tuning.offsets
        index = np.arange(len(score.notes))
        self.first_row = np.searchsorted(tuning.offsets["note"], index)
        self.last_row = np.searchsorted(tuning.offsets["note"], index, side="right")
        self.first_piece = np.searchsorted(harmony.pieces["note"], index)
        self.cents = tuning.counted_from(reference_hz).offsets["offset_cents"]
        self.row_bars, self.row_beats = score.meters.spoken(tuning.offsets["start_tick"])
        self.bars, self.beats = score.meters.spoken(score.notes["onset_tick"])
        self.last_bars, _ = score.meters.bar_beat(score.notes["release_tick"] - _leeway(score))
        self.seconds = score.clock.seconds(score.notes["release_tick"]) - score.clock.seconds(
            score.notes["onset_tick"]
        )
        self.words = _words(score)

    def sheet_note(self, note: int, options: SheetOptions) -> SheetNote:
        row = self.score.notes[note]
        piece = self.harmony.pieces[self.first_piece[note]]
        window = self.harmony.windows[piece["window"]]
        key = key_at(self.harmony, int(row["onset_tick"]))
        root = root_name(window, self.harmony.key_at(int(row["onset_tick"])))
        semitones = (int(row["key"]) - int(window["root_pc"])) % 12
        chord = int(window["chord"])
        name = chord_words(root, chord)
        belongs = piece["role"] == Role.CHORD
        spelled = chord_tone(root, semitones, chord) if belongs else key.tone(int(row["key"]) % 12)
        cents = float(self.cents[self.first_row[note]])
        matters = abs(round(cents)) >= max(options.mark_from_cents, 1.0)
        table = self.ratios.tables[self.ratios.table_of_window[piece["window"]]]
        numerator, denominator = table.pairs[semitones]
        return SheetNote(
            note=note,
            tick=int(row["onset_tick"]),
            bar=int(self.bars[note]),
            beat=float(self.beats[note]),
            last_bar=max(int(self.last_bars[note]), int(self.bars[note])),
            beats=_beats(self.score, int(row["onset_tick"]), int(row["release_tick"])),
            pitch=pitch(int(row["key"]), spelled),
            cents=cents,
            marked=bool(matters and self.seconds[note] >= options.shortest_s),
            function=function_words(semitones, chord, int(piece["role"]), name),
            degree=degree(semitones, chord) if belongs else "",
            chord=name,
            chord_kind=chord_kind(chord),
            ratio=f"{numerator}/{denominator}",
            word=self.words.get((int(row["track"]), int(row["onset_tick"])), ""),
            moves=self._moves(note, options.move_from_cents),
        )

    def _moves(self, note: int, least_cents: float) -> tuple[Move, ...]:
        """Return movements of at least `least_cents` from the last place that was told."""
        moves: list[Move] = []
        lo, hi = self.first_row[note], self.last_row[note]
        told = self.cents[lo]
        for row in range(lo + 1, hi):
            if abs(self.cents[row] - told) < max(least_cents, 0.5):
                continue
            moves.append(
                Move(
                    tick=int(self.offsets["start_tick"][row]),
                    bar=int(self.row_bars[row]),
                    beat=float(self.row_beats[row]),
                    from_cents=round(told),
                    to_cents=round(self.cents[row]),
                )
            )
            told = self.cents[row]
        return tuple(moves)


def _leeway(score: Score) -> int:
    """Return how far a note may reach over a bar line without being held there: a thirty-second note [ticks]."""
    return max(round(score.meters.ticks_per_quarter / 8), 1)


def _beats(score: Score, start_tick: int, end_tick: int) -> float:
    k = int(np.searchsorted(score.meters.change_ticks, start_tick, side="right")) - 1
    beat_ticks = 4.0 * score.meters.ticks_per_quarter / int(score.meters.denominator[k])
    return (end_tick - start_tick) / beat_ticks


def _words(score: Score) -> dict[tuple[int, int], str]:
    """Return the syllables of the file by track and tick."""
    words: dict[tuple[int, int], str] = {}
    for index, track in enumerate(score.tracks):
        for tick, message in zip(track.ticks, track.messages, strict=True):
            if message.type == "lyrics":
                words[index, int(tick)] = plain(message.text.strip())
    return words


def _rules(notes: tuple[SheetNote, ...]) -> tuple[Rule, ...]:
    """Return what marked notes of one function have in common, the commonest first.

    A function marked less than `RULE_LEAST` times, on both sides of zero, with widely differing cents, or with
    other cents in half of its cases or more, gives no rule.
    """
    marked: dict[str, list[int]] = {}
    every: dict[str, list[int]] = {}
    for note in notes:
        if note.degree:
            where = f"{note.degree} of a {note.chord_kind}"
            every.setdefault(where, []).append(note.whole_cents)
            if note.marked:
                marked.setdefault(where, []).append(note.whole_cents)
    found = [_rule(where, cents, every[where]) for where, cents in marked.items()]
    rules = [rule for rule in found if rule is not None]
    return tuple(sorted(rules, key=lambda rule: (-rule.count, rule.where))[:RULES])


def _rule(where: str, marked: list[int], every: list[int]) -> Rule | None:
    low, high = min(marked), max(marked)
    if len(marked) < RULE_LEAST or low * high <= 0 or high - low > RULE_SPREAD_CENTS:
        return None
    count = sum(low <= cents <= high for cents in every)
    return (
        Rule(where=where, count=count, cases=len(every), low=low, high=high)
        if 2 * count > len(every)
        else None
    )

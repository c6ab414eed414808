"""Why the harmony of a bar is what it is, in words and figures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from retune.cli.tables import table
from retune.errors import OptionError
from retune.harmony import explain
from retune.harmony.model import Role
from retune.harmony.spelling import chord_label, chord_name, spell, spell_in_chord

if TYPE_CHECKING:
    from retune.harmony.finder.reasons import Explanation
    from retune.pipeline import Analysis

LEAST_SHARE = 0.01  # tones that sound for less of a slice are not listed (chosen by eye)

LEGEND = """
Points say how well a chord fits its window: what sounds (sound, presence), the lowest notes (bass, first bass), the
beats around it (surroundings) and its length. The chord before, the chord after and the cost of a change count as
well, so the first candidate is not always taken. Of the chord taken only the root stands: its type is then named by
what sounds above the root. docs/harmony.md tells how.
"""


def explanation_text(analysis: Analysis, bar: int) -> str:
    """Return what sounded in each window of a bar, and how well other chords would have fitted it.

    Raises `OptionError` for a bar in which there is no music.
    """
    meters = analysis.score.meters
    start, end = meters.tick_of(bar), meters.tick_of(bar + 1)
    found = explain(analysis.score, analysis.harmony, start, end)
    if not found:
        raise OptionError(
            f"bar {bar} has no harmony to explain; the music ends in bar {analysis.score.last_bar}"
        )
    return "\n".join(_window(analysis, explanation) for explanation in found) + LEGEND


def _window(analysis: Analysis, explanation: Explanation) -> str:
    score, window = analysis.score, analysis.harmony.windows[explanation.window]
    key = analysis.harmony.key_at(int(window["start_tick"]))
    start, end = (score.where(int(window[edge])) for edge in ("start_tick", "end_tick"))
    heading = f"{start}, to {end}: {chord_label(window, key)}"
    if explanation.given:
        heading += ", as given; the finder would have weighed:"
    sounding = _sounding(analysis, explanation, key) + _outside(analysis, explanation.window)
    return f"{heading}\n\n{sounding}\n{_candidates(explanation, key)}"


def _outside(analysis: Analysis, window: int) -> str:
    """The notes that do not belong to the chord, and what each does."""
    score, harmony = analysis.score, analysis.harmony
    row = harmony.windows[window]
    key = harmony.key_at(int(row["start_tick"]))
    pieces = harmony.pieces
    here = pieces[(pieces["window"] == window) & (pieces["role"] != Role.CHORD)]
    told = []
    for piece in here[np.argsort(here["start_tick"], kind="stable")]:
        note = score.notes[int(piece["note"])]
        name = spell_in_chord(int(note["key"]) % 12, row, key)
        part = score.parts[int(note["part"])].name
        role = Role(int(piece["role"])).name.lower()
        told.append(f"{name} of {part}, {score.where(int(piece['start_tick']))} ({role})")
    return f"outside the chord: {'; '.join(told)}\n" if told else ""


def _sounding(analysis: Analysis, explanation: Explanation, key: np.void) -> str:
    rows = []
    for part in explanation.slices:
        most = max(part.amounts) or 1.0
        tones = sorted(range(12), key=lambda pc: -part.amounts[pc])
        heard = [
            f"{_name(pc, key)} {part.amounts[pc]:.2f}"
            for pc in tones
            if part.amounts[pc] > LEAST_SHARE * most
        ]
        bass = "" if part.bass_pc is None else _name(part.bass_pc, key)
        rows.append((analysis.score.where(part.start_tick), bass, " ".join(heard), f"{part.change_cost:.1f}"))
    return table(
        ("from", "bass", "tones and how long they sound, in weighted beats", "cost of a change"),
        rows,
        right=(3,),
    )


def _candidates(explanation: Explanation, key: np.void) -> str:
    kinds = tuple(explanation.candidates[0].terms) if explanation.candidates else ()
    rows = [
        (
            chord_name(_name(candidate.root_pc, key), candidate.chord),
            f"{candidate.points:.1f}",
            f"{-candidate.behind:.1f}" if candidate.behind else "",
            *(f"{candidate.terms[kind]:+.1f}" for kind in kinds),
        )
        for candidate in explanation.candidates
    ]
    return table(("candidate", "points", "behind", *kinds), rows, right=tuple(range(1, 3 + len(kinds))))


def _name(pc: int, key: np.void) -> str:
    return spell(pc, int(key["fifths"]), minor=bool(key["minor"]))

"""Small pieces and their sheets for the tests of parts."""

from __future__ import annotations

import io
from collections.abc import Sequence

import mido

from retune.harmony import Harmony, Hint, find_harmony
from retune.options import Options
from retune.parts import SheetOptions, Sheets, collect_sheets
from retune.ratios import Ratios, choose_ratios
from retune.score import Score, read_score
from retune.tuning import Tuning, solve_tuning

TPQ = 480
Note = tuple[float, float, int] | tuple[float, float, int, str]  # onset, length in quarters, key, syllable


def score_of(
    parts: dict[str, Sequence[Note]],
    *,
    meter: tuple[int, int] = (4, 4),
    meter_from: dict[float, tuple[int, int]] | None = None,
    fifths: str = "C",
    title: str = "",
) -> Score:
    """A score of one track a part, at 120 quarters to the minute; `meter_from` holds later meters by quarter."""
    head = mido.MidiTrack(
        [
            mido.MetaMessage("track_name", name=title),
            mido.MetaMessage("time_signature", numerator=meter[0], denominator=meter[1]),
            mido.MetaMessage("key_signature", key=fifths),
        ]
    )
    at = 0
    for quarter, (beats, unit) in sorted((meter_from or {}).items()):
        tick = round(quarter * TPQ)
        head.append(mido.MetaMessage("time_signature", numerator=beats, denominator=unit, time=tick - at))
        at = tick
    file = mido.MidiFile(type=1, ticks_per_beat=TPQ, charset="utf-8")
    file.tracks.append(head)
    for channel, (name, notes) in enumerate(parts.items()):
        events: list[tuple[int, int, mido.Message | mido.MetaMessage]] = []
        for onset, length, key, *words in notes:
            start, end = round(onset * TPQ), round((onset + length) * TPQ)
            events += [(start, 1, mido.MetaMessage("lyrics", text=word)) for word in words]
            events.append((start, 2, mido.Message("note_on", channel=channel, note=key, velocity=80)))
            events.append((end, 0, mido.Message("note_off", channel=channel, note=key)))
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=name)])
        now = 0
        for tick, _, message in sorted(events, key=lambda event: event[:2]):
            track.append(message.copy(time=tick - now))
            now = tick
        file.tracks.append(track)
    data = io.BytesIO()
    file.save(file=data)
    return read_score(data.getvalue())


def stages(
    score: Score, hints: Sequence[Hint] = (), **options: object
) -> tuple[Score, Harmony, Ratios, Tuning]:
    """Everything the sheets are made of."""
    chosen = Options(**options)
    harmony = find_harmony(score, hints=hints)
    ratios = choose_ratios(harmony, prime_limit=chosen.prime_limit)
    return score, harmony, ratios, solve_tuning(score, harmony, ratios, chosen)


def chord_hints(*chords: tuple[int, str], bars: float = 1.0) -> list[Hint]:
    """One given chord a bar of four quarters."""
    length = round(bars * 4 * TPQ)
    return [
        Hint(start_tick=i * length, end_tick=(i + 1) * length, root_pc=root, chord=chord)
        for i, (root, chord) in enumerate(chords)
    ]


def sheets_of(
    score: Score, hints: Sequence[Hint] = (), wanted: SheetOptions | None = None, **options: object
) -> Sheets:
    """The sheets of a score."""
    return collect_sheets(*stages(score, hints, **options), wanted)


HYMN = {
    "Soprano": [(0.0, 4.0, 72, "Eve-"), (4.0, 4.0, 72, "ning")],
    "Alto": [(0.0, 4.0, 67), (4.0, 4.0, 69)],
    "Tenor": [(0.0, 4.0, 64), (4.0, 4.0, 65)],
    "Bass": [(0.0, 4.0, 48), (4.0, 4.0, 53)],
}
HYMN_CHORDS = chord_hints((0, "maj"), (5, "maj"))

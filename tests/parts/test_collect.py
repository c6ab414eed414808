"""What is written at each note."""

from __future__ import annotations

import io
from dataclasses import replace

import mido
import numpy as np
import pytest
from pretty_midi import program_to_instrument_name

from retune.errors import OptionError
from retune.parts import SheetOptions, collect_sheets
from retune.score import read_score
from retune.tuning.fixed import table_per_chord
from tests.parts.build import HYMN, HYMN_CHORDS, TPQ, chord_hints, score_of, sheets_of, stages


def by_name(sheets) -> dict[str, list]:
    return {sheet.name: list(sheet.notes) for sheet in sheets.sheets}


def test_cents_are_those_of_the_orchestra_hand_out_above_the_root() -> None:
    """Major chord: third −14, fifth +2 from the root ("Chords of Just Intonation", one-page orchestra hand-out)."""
    notes = by_name(sheets_of(score_of(HYMN), HYMN_CHORDS))
    root = notes["Bass"][0].cents
    assert round(notes["Tenor"][0].cents - root) == -14
    assert round(notes["Alto"][0].cents - root) == 2
    assert notes["Soprano"][0].cents - root == pytest.approx(0.0, abs=0.01)


def test_each_note_says_where_it_is_and_what_it_is() -> None:
    note = by_name(sheets_of(score_of(HYMN), HYMN_CHORDS))["Tenor"][1]
    assert (note.bar, note.beat, note.beats, str(note.pitch)) == (2, 1.0, 4.0, "F4")
    assert (note.function, note.ratio) == ("root of F major triad", "1/1")
    note = by_name(sheets_of(score_of(HYMN), HYMN_CHORDS))["Alto"][1]
    assert (note.function, note.ratio, note.degree) == ("third of F major triad", "5/4", "third")


def test_words_stand_at_the_notes_they_are_sung_on() -> None:
    notes = by_name(sheets_of(score_of(HYMN), HYMN_CHORDS))
    assert [note.word for note in notes["Soprano"]] == ["Eve-", "ning"]
    assert [note.word for note in notes["Bass"]] == ["", ""]


def test_only_what_matters_is_marked() -> None:
    score = score_of(HYMN)
    for least in (0.0, 5.0, 13.0, 50.0):
        for sheet in sheets_of(score, HYMN_CHORDS, SheetOptions(mark_from_cents=least)).sheets:
            for note in sheet.notes:
                assert note.marked == (abs(note.whole_cents) >= max(least, 1.0))


def test_short_notes_are_not_marked() -> None:
    """At 120 to the minute an eighth lasts 0.25 s and a sixteenth 0.125 s."""
    parts = {
        "Bass": [(0.0, 4.0, 48)],
        "Fifth": [(0.0, 4.0, 55)],
        "Third": [(0.0, 0.5, 64), (1.0, 0.25, 64), (2.0, 2.0, 64)],
    }
    marked = [n.marked for n in by_name(sheets_of(score_of(parts), chord_hints((0, "maj"))))["Third"]]
    assert marked == [True, False, True]


def test_zero_is_the_zero_of_a_tuner_at_the_reference() -> None:
    """At A = 415 Hz the offsets of a file lie 101.3 cents lower, the numbers on the sheet do not."""
    score, harmony, ratios, tuning = stages(score_of(HYMN), HYMN_CHORDS)
    offsets = tuning.offsets.copy()
    offsets["offset_cents"] += 1200.0 * np.log2(415.0 / 440.0)
    usual = collect_sheets(score, harmony, ratios, tuning)
    low = collect_sheets(score, harmony, ratios, replace(tuning, offsets=offsets), reference_hz=415.0)
    for a, b in zip(usual.sheets, low.sheets, strict=True):
        assert [n.cents for n in a.notes] == pytest.approx([n.cents for n in b.notes], abs=1e-9)
    assert [v.cents for c in usual.chords for v in c.voices] == [
        v.cents for c in low.chords for v in c.voices
    ]


def test_a_held_note_that_must_move_says_where_and_to_what() -> None:
    """C held from C major (root) into A minor (third, 6/5): a table per chord moves it by +15.64 cents."""
    parts = {"Top": [(0.0, 8.0, 72)], "Mid": [(0.0, 8.0, 64)], "Low": [(0.0, 4.0, 48), (4.0, 4.0, 45)]}
    score, harmony, ratios, _ = stages(score_of(parts), chord_hints((0, "maj"), (9, "min")))
    sheets = collect_sheets(score, harmony, ratios, table_per_chord(score, harmony, ratios))
    (note,) = by_name(sheets)["Top"]
    assert note.whole_cents == 0
    (move,) = note.moves
    assert (move.bar, move.beat, move.from_cents, move.to_cents) == (2, 1.0, 0, 16)
    wide = collect_sheets(
        score, harmony, ratios, table_per_chord(score, harmony, ratios), SheetOptions(move_from_cents=20.0)
    )
    assert by_name(wide)["Top"][0].moves == ()


def test_within_the_hold_limit_no_note_has_to_move() -> None:
    parts = {"Top": [(0.0, 8.0, 72)], "Mid": [(0.0, 8.0, 64)], "Low": [(0.0, 4.0, 48), (4.0, 4.0, 45)]}
    sheets = sheets_of(score_of(parts), chord_hints((0, "maj"), (9, "min")), hold_limit_cents=1.0)
    assert all(not note.moves for sheet in sheets.sheets for note in sheet.notes)


def test_notes_outside_the_chord_say_what_they_are() -> None:
    parts = {
        "Top": [(0.0, 1.0, 72), (1.0, 1.0, 74), (2.0, 2.0, 76)],
        "Mid": [(0.0, 4.0, 67)],
        "Low": [(0.0, 4.0, 48)],
    }
    passing = by_name(sheets_of(score_of(parts), chord_hints((0, "maj"))))["Top"][1]
    assert (passing.function, passing.degree) == ("passing note over C major triad", "")


def test_rules_tell_habits_met_more_than_once_and_only_those() -> None:
    """Root position C, F and C: the middle voice sings a third each time, the upper a fifth, the lower a root."""
    parts: dict[str, list] = {"Low": [], "Mid": [], "High": []}
    for bar, chord in enumerate([(48, 52, 55), (53, 57, 60), (48, 52, 55)]):
        for name, key in zip(parts, chord, strict=True):
            parts[name].append((4.0 * bar, 4.0, key))
    hints = chord_hints((0, "maj"), (5, "maj"), (0, "maj"))
    sheets = sheets_of(score_of(parts), hints, drift_limit_cents=0.0)
    rules = {sheet.name: sheet.rules for sheet in sheets.sheets}
    (third,) = rules["Mid"]
    assert (third.where, third.count, third.low, third.high) == ("third of a major triad", 3, -14, -14)
    assert rules["Low"] == rules["High"] == ()
    once = sheets_of(score_of(HYMN), HYMN_CHORDS, drift_limit_cents=0.0)
    assert all(sheet.rules == () for sheet in once.sheets)


@pytest.mark.parametrize(
    ("pure", "tempered", "told"), [(3, 0, 3), (3, 2, 3), (3, 3, 0), (3, 4, 0), (2, 0, 0)]
)
def test_a_habit_is_told_only_where_it_is_most_of_the_cases(pure: int, tempered: int, told: int) -> None:
    """Thirds of C major at −14, and some that stay on the tuner's zero."""
    bars = range(pure + tempered)
    parts = {
        name: [(4.0 * bar, 4.0, key) for bar in bars]
        for name, key in (("Low", 48), ("Mid", 52), ("High", 55))
    }
    score, harmony, ratios, tuning = stages(
        score_of(parts), chord_hints(*[(0, "maj")] * len(bars)), drift_limit_cents=0.0
    )
    offsets = tuning.offsets.copy()
    zero = score.notes["onset_tick"][offsets["note"]] >= pure * 4 * TPQ
    offsets["offset_cents"][zero] = 1.0
    sheets = collect_sheets(score, harmony, ratios, replace(tuning, offsets=offsets))
    rules = {sheet.name: sheet.rules for sheet in sheets.sheets}["Mid"]
    assert [(rule.count, rule.cases, rule.low) for rule in rules] == [(told, pure + tempered, -14)] * bool(
        told
    )


@pytest.mark.parametrize(("spread", "told"), [(0, 1), (6, 1), (7, 0), (-6, 1), (-7, 0)])
def test_a_habit_is_told_only_where_its_cents_agree_within_six(spread: int, told: int) -> None:
    """Six cents are a judgement of ours."""
    parts = {name: [(4.0 * bar, 4.0, key) for bar in range(4)] for name, key in (("Low", 48), ("Mid", 52))}
    score, harmony, ratios, tuning = stages(score_of(parts), chord_hints(*[(0, "maj")] * 4))
    offsets = tuning.offsets.copy()
    bars = score.notes["onset_tick"][offsets["note"]] // (4 * TPQ)
    offsets["offset_cents"] = np.where(bars == 2, -14.0 + spread, -14.0)
    sheets = collect_sheets(score, harmony, ratios, replace(tuning, offsets=offsets))
    rules = {sheet.name: sheet.rules for sheet in sheets.sheets}["Mid"]
    low, high = sorted((-14, -14 + spread))
    assert [(rule.count, rule.low, rule.high) for rule in rules] == [(4, low, high)] * told


def test_four_habits_are_told_the_commonest_first() -> None:
    """Three to seven chords each of five kinds, over a low C: one part sings a habit of its own in each."""
    kinds = {"maj": 64, "min": 63, "7": 70, "dim": 66, "maj7": 71}
    plan = [kind for count, kind in zip((3, 7, 4, 6, 5), kinds, strict=True) for _ in range(count)]
    parts = {
        "Low": [(4.0 * bar, 4.0, 48) for bar in range(len(plan))],
        "Top": [(4.0 * bar, 4.0, kinds[kind]) for bar, kind in enumerate(plan)],
    }
    given = chord_hints(*((0, kind) for kind in plan))
    sheets = sheets_of(score_of(parts), given, drift_limit_cents=0.0).sheets
    rules = {sheet.name: sheet.rules for sheet in sheets}["Top"]
    assert [rule.count for rule in rules] == [7, 6, 5, 4]
    assert rules[0].where == "third of a minor triad"


STRINGED = """
    Harpsichord; Clavinet; Dulcimer; Acoustic Guitar (nylon); Acoustic Guitar (steel); Electric Guitar (jazz);
    Electric Guitar (clean); Electric Guitar (muted); Overdriven Guitar; Distortion Guitar; Guitar Harmonics;
    Acoustic Bass; Electric Bass (finger); Electric Bass (pick); Fretless Bass; Slap Bass 1; Slap Bass 2;
    Violin; Viola; Cello; Contrabass; Tremolo Strings; Pizzicato Strings; Orchestral Harp; String Ensemble 1;
    String Ensemble 2; Sitar; Banjo; Shamisen; Koto; Fiddle
"""


def test_sheets_of_every_instrument_with_strings_are_those_that_say_so() -> None:
    """All 128 programs of General MIDI (RP-003), by their names in pretty_midi; pianos not: 0 is often anything."""
    file = mido.MidiFile(type=1, ticks_per_beat=TPQ)
    for program in range(128):
        channel = program % 8
        file.tracks.append(
            mido.MidiTrack(
                [
                    mido.MetaMessage("midi_port", port=program // 8),
                    mido.Message("program_change", channel=channel, program=program),
                    mido.Message("note_on", channel=channel, note=60, velocity=80, time=TPQ * program),
                    mido.Message("note_off", channel=channel, note=60, time=TPQ),
                ]
            )
        )
    data = io.BytesIO()
    file.save(file=data)
    score, *rest = stages(read_score(data.getvalue()))
    sheets = collect_sheets(score, *rest).sheets
    assert len(sheets) == 128
    named = [
        program_to_instrument_name(score.parts[sheet.part].program) for sheet in sheets if sheet.has_strings
    ]
    assert named == [name.strip() for name in STRINGED.split(";")]


def test_a_note_played_early_belongs_to_the_bar_it_leads_to() -> None:
    parts = {"Top": [(0.0, 3.9, 72), (3.98, 4.0, 72)], "Mid": [(0.0, 8.0, 64)], "Low": [(0.0, 8.0, 48)]}
    note = by_name(sheets_of(score_of(parts)))["Top"][1]
    assert (note.bar, note.beat) == (2, 1.0)


def test_percussion_and_empty_tracks_have_no_sheet(samples: dict[str, bytes]) -> None:
    score, *rest = stages(read_score(samples["pop_loop"]))
    names = [sheet.name for sheet in collect_sheets(score, *rest).sheets]
    assert names == [part.name for part in score.parts if not part.is_percussion]
    assert len(names) < len(score.parts)
    chosen = collect_sheets(score, *rest, parts=(score.parts[0].index,))
    assert [sheet.name for sheet in chosen.sheets] == names[:1]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"mark_from_cents": -1.0}, "mark from: -1 is outside 0 to 100 cents"),
        ({"shortest_s": 99.0}, "shortest: 99 is outside 0 to 60 seconds"),
        ({"chords": -3}, "slow chords: -3 is outside 0 to 1000"),
    ],
)
def test_options_that_cannot_be_obeyed(options: dict[str, float], message: str) -> None:
    with pytest.raises(OptionError, match=message):
        SheetOptions(**options)

"""Tunings nothing is solved for: fixed pitches, and a table for each chord."""

import numpy as np
import pytest

from retune.harmony.model import KEY_DTYPE, PIECE_DTYPE, WINDOW_DTYPE, Harmony
from retune.harmony.vocabulary import CHORD_TYPES, INDEX_OF_SYMBOL
from retune.ratios import choose_ratios
from retune.score.model import NOTE_DTYPE, Clock, Meters, Part, Score
from retune.tuning.fixed import fixed_tuning, table_per_chord
from retune.tuning.temperaments import temperament

TPQ = 480


def score_of(*notes, drums=()):
    """Notes (key, onset, release) in quarters in part 0, drum hits in part 1."""
    rows = np.zeros(len(notes) + len(drums), NOTE_DTYPE)
    for row, (key, onset, release) in zip(rows, (*notes, *drums), strict=True):
        row["key"], row["onset_tick"], row["release_tick"] = key, onset * TPQ, release * TPQ
    rows["sounding_end_tick"] = rows["release_tick"]
    rows["part"][len(notes) :] = 1
    rows["velocity"] = 80
    clock = Clock(ticks_per_quarter=TPQ, change_ticks=np.array([0]), change_seconds=np.array([0.0]),
                  seconds_per_tick=np.array([0.5 / TPQ]))  # fmt: skip
    one = np.array([1])
    meters = Meters(change_ticks=np.array([0]), first_bar=one, numerator=4 * one, denominator=4 * one,
                    ticks_per_quarter=TPQ)  # fmt: skip
    parts = tuple(
        Part(index=i, name=name, track=0, port=0, channel=channel, program=0, is_percussion=channel == 9)
        for i, (name, channel) in enumerate((("keys", 0), ("drums", 9)))
    )
    end = int(rows["release_tick"].max(initial=0))
    return Score(
        format=1, division=TPQ, clock=clock, meters=meters, tracks=(), parts=parts, notes=rows, end_tick=end
    )


def harmony_of(score, *chords):
    """Windows (start, end, root, symbol) in quarters; pieces cut where they change."""
    windows = np.zeros(len(chords), WINDOW_DTYPE)
    for row, (start, end, root, symbol) in zip(windows, chords, strict=True):
        row["start_tick"], row["end_tick"], row["root_pc"] = start * TPQ, end * TPQ, root
        row["chord"] = INDEX_OF_SYMBOL[symbol]
        row["members"] = CHORD_TYPES[row["chord"]].members
    cut = [
        (n, w, max(note["onset_tick"], window["start_tick"]),
         min(note["release_tick"], window["end_tick"]), 0)
        for n, note in enumerate(score.notes) if score.pitched[n]
        for w, window in enumerate(windows)
        if max(note["onset_tick"], window["start_tick"]) < min(note["release_tick"], window["end_tick"])
    ]  # fmt: skip
    return Harmony(windows=windows, pieces=np.array(cut, PIECE_DTYPE), keys=np.zeros(0, KEY_DTYPE))


def cadence():
    """C major, then G seventh with the G held: notes C E G, and B F over it."""
    score = score_of((60, 0, 1), (64, 0, 1), (67, 0, 2), (59, 1, 2), (65, 1, 2), drums=[(38, 0, 1)])
    return score, harmony_of(score, (0, 1, 0, "maj"), (1, 2, 7, "7"))


def test_fixed_tuning_gives_each_pitch_class_its_offset():
    score, harmony = cadence()
    offsets = temperament("werckmeister-iii")
    tuning = fixed_tuning(score, harmony, offsets)
    assert tuning.offsets["note"].tolist() == [0, 1, 2, 3, 4], "no row for the drum"
    assert tuning.offsets["offset_cents"].tolist() == offsets[[0, 4, 7, 11, 5]].tolist()
    assert tuning.offsets["end_tick"].tolist() == [480, 480, 960, 960, 960]
    assert tuning.displacement_cents.tolist() == offsets[[0, 7]].tolist()
    assert len(fixed_tuning(score, None, offsets).displacement_cents) == 0


def test_table_per_chord_is_pure_above_equal_roots():
    """C E G at 0 −13.69 +1.96; over G: B −13.69, F +17.60 (9/5), and the held G falls back to 0."""
    score, harmony = cadence()
    tuning = table_per_chord(score, harmony, choose_ratios(harmony))
    rows = [(row["note"], row["start_tick"] / TPQ, row["end_tick"] / TPQ, round(row["offset_cents"], 2))
            for row in tuning.offsets]  # fmt: skip
    assert rows == [
        (0, 0, 1, 0.0),
        (1, 0, 1, -13.69),
        (2, 0, 1, 1.96),
        (2, 1, 2, 0.0),
        (3, 1, 2, -13.69),
        (4, 1, 2, 17.6),
    ]
    assert tuning.displacement_cents.tolist() == [0, 0]


def test_table_per_chord_joins_pieces_that_do_not_move():
    score = score_of((60, 0, 3))
    harmony = harmony_of(score, (0, 1, 0, "maj"), (1, 2, 0, "min"), (2, 3, 0, "7"))
    tuning = table_per_chord(score, harmony, choose_ratios(harmony))
    assert [tuple(row) for row in tuning.offsets] == [(0, 0, 3 * TPQ, 0.0)]


def test_rows_last_as_long_as_the_pedal():
    """A held pedal lets notes sound past their release, in both tunings."""
    score = score_of((60, 0, 1))
    score.notes["sounding_end_tick"] = 3 * TPQ
    harmony = harmony_of(score, (0, 3, 0, "maj"))
    harmony.pieces["end_tick"] = 3 * TPQ
    for tuning in (
        fixed_tuning(score, harmony, np.zeros(12)),
        table_per_chord(score, harmony, choose_ratios(harmony)),
    ):
        assert tuning.offsets["end_tick"].tolist() == [3 * TPQ]


@pytest.mark.parametrize("name", ["equal", "just"])
def test_empty_scores_have_empty_tunings(name):
    score = score_of(drums=[(38, 0, 1)])
    harmony = harmony_of(score)
    assert len(fixed_tuning(score, harmony, temperament(name)).offsets) == 0
    assert len(table_per_chord(score, harmony, choose_ratios(harmony)).offsets) == 0

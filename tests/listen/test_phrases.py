"""Where phrases end."""

from __future__ import annotations

import io

import mido
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.harmony import Hint, find_harmony
from retune.listen.phrases import LONGEST_BARS, find_phrases
from retune.score import read_score
from tests.tuning.build import TPQ, Note, score_of

BAR = 4 * TPQ


def phrases(notes: list[Note]) -> list[float]:
    """How many bars lie before the beginning of each phrase."""
    score = score_of(notes)
    harmony = find_harmony(score)
    end = int(score.notes["release_tick"].max())
    return [phrase.start_tick / BAR for phrase in find_phrases(score, harmony, 0, end)]


def test_a_rest_ends_a_phrase_before_anything_else() -> None:
    notes: list[Note] = [(0, q, 1.0, 60) for q in range(48) if q not in (11, 31)]
    assert phrases(notes) == [0.0, 3.0, 8.0]


def test_a_long_chord_after_its_dominant_ends_a_phrase() -> None:
    """A chord a bar, but the tonic that follows the dominant in bar 5 lasts two."""
    bars = [(0, 1), (9, 1), (2, 1), (7, 1), (0, 2), (9, 1), (2, 1), (9, 1), (2, 1), (9, 1), (2, 1)]
    ends = np.cumsum([length for _, length in bars])
    given_chords = [
        Hint(start_tick=int(end - length) * BAR, end_tick=int(end) * BAR, root_pc=root, chord="maj")
        for end, (root, length) in zip(ends, bars, strict=True)
    ]
    score = score_of([(0, float(q), 1.0, 60) for q in range(48)])
    harmony = find_harmony(score, hints=given_chords)
    found = [phrase.start_tick / BAR for phrase in find_phrases(score, harmony, 0, 12 * BAR)]
    assert found == [0.0, 6.0]


def test_without_rest_or_cadence_a_phrase_is_four_bars() -> None:
    notes: list[Note] = [(0, float(q), 1.0, 60) for q in range(64)]
    assert phrases(notes) == [0.0, 4.0, 8.0, 12.0]


def phrase_bars(meters: list[tuple[int, int, int]], quarters: int) -> list[int]:
    """Numbers of the bars with which phrases begin; meters: (bars or 0 for the rest, numerator, denominator)."""
    track = mido.MidiTrack()
    waited = 0
    for bars, numerator, denominator in meters:
        signature = {"numerator": numerator, "denominator": denominator}
        track.append(mido.MetaMessage("time_signature", **signature, time=waited))
        waited = bars * numerator * 4 * TPQ // denominator
    voice = mido.MidiTrack()
    for _ in range(quarters):
        voice += [mido.Message("note_on", note=60), mido.Message("note_off", note=60, time=TPQ)]
    data = io.BytesIO()
    mido.MidiFile(type=1, ticks_per_beat=TPQ, tracks=[track, voice]).save(file=data)
    score = read_score(data.getvalue())
    found = find_phrases(score, find_harmony(score), 0, score.end_tick)
    assert found[-1].end_tick == score.end_tick
    bars, beats = score.meters.bar_beat(np.array([phrase.start_tick for phrase in found]))
    assert beats.tolist() == [1.0] * len(found)
    return bars.tolist()


@pytest.mark.parametrize(("numerator", "denominator"), [(1, 4), (2, 4), (3, 8)])
def test_an_upbeat_makes_no_bar_of_the_first_phrase(numerator: int, denominator: int) -> None:
    """Four whole bars and what goes before them; then four again (4/4 with an upbeat of one beat, two, or 1 1/2)."""
    assert phrase_bars([(1, numerator, denominator), (0, 4, 4)], 65) == [1, 6, 10, 14]


def test_bars_are_counted_as_long_as_they_are_where_the_meter_changes() -> None:
    """Eight bars of 3/4, then eight of 6/4."""
    assert phrase_bars([(8, 3, 4), (0, 6, 4)], 8 * 3 + 8 * 6) == [1, 5, 9, 13]


def test_a_short_piece_is_one_phrase() -> None:
    assert phrases([(0, float(q), 1.0, 60) for q in range(8)]) == [0.0]


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 200), st.integers(1, 16), st.integers(48, 72)), min_size=1, max_size=60)
)
def test_phrases_fill_the_piece_without_gap_and_none_is_too_long(raw: list[tuple[int, int, int]]) -> None:
    score = score_of([(0, start / 2, length / 2, key) for start, length, key in raw])
    harmony = find_harmony(score)
    start, end = int(score.notes["onset_tick"].min()), int(score.notes["sounding_end_tick"].max())
    found = find_phrases(score, harmony, start, end)
    edges = [start, *(phrase.end_tick for phrase in found)]
    assert edges[:-1] == [phrase.start_tick for phrase in found]
    assert edges[-1] == end
    assert np.diff(edges).max(initial=0) <= LONGEST_BARS * BAR
    assert np.diff(edges).min(initial=1) > 0


def test_a_file_of_endless_bars_is_one_phrase() -> None:
    score = score_of([(0, 0.0, 1.0, 60), (0, 4e5 + 5.0, 1.0, 60)])
    assert len(find_phrases(score, find_harmony(score), 0, int(score.end_tick))) == 1

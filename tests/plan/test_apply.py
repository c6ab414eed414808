"""A plan over a score: windows obeyed, the rest left alone, limits and ratios in their places."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from retune.errors import PlanError
from retune.harmony import Hint, find_harmony
from retune.harmony.vocabulary import INDEX_OF_SYMBOL
from retune.options import Options
from retune.pipeline import analyze, finish, tune
from retune.plan import hints, plan_ratios, read_plan, window_limits, write_plan
from retune.plan.apply import over
from retune.ratios import choose_ratios
from retune.score import read_score
from tests.harmony import build

PERFORMED = build.blocks([48, 64, 67], [53, 60, 69], [43, 62, 71], [48, 64, 67], length=4.0)
SAMPLES = Path(__file__).parents[2] / "sample_scores"
NAMES = sorted(path.stem for path in SAMPLES.glob("*.mid"))
FIELDS = ["start_tick", "end_tick", "root_pc", "bass_pc", "chord", "members"]


def found(name):
    score = read_score((SAMPLES / f"{name}.mid").read_bytes(), name=name)
    harmony = find_harmony(score)
    return score, harmony, choose_ratios(harmony)


def obeyed(score, text):
    plan = read_plan(text, name="song.toml")
    harmony = find_harmony(score, hints=hints(plan, score))
    return harmony, plan_ratios(plan, score, harmony, choose_ratios(harmony))


@pytest.mark.parametrize("name", NAMES)
def test_written_plan_changes_nothing(name):
    score, harmony, ratios = found(name)
    again, ratios_again = obeyed(score, write_plan(score, harmony, ratios))
    assert (again.windows[FIELDS] == harmony.windows[FIELDS]).all()
    assert (again.pieces == harmony.pieces).all()
    np.testing.assert_array_equal(ratios_again.deviations, ratios.deviations)


def test_editing_one_window_changes_that_window_only():
    score, harmony, ratios = found("evening_hymn")
    text = write_plan(score, harmony, ratios)
    old = next(line for line in text.splitlines() if '"4.3"' in line.partition("to")[0])
    assert 'root = "D"' in old
    edited = text.replace(old, '{at = "4.3", to = "5.1", root = "F#", chord = "dim", ratios = "5:6:7"},')
    again, ratios_again = obeyed(score, edited)
    changed = (again.windows[FIELDS] != harmony.windows[FIELDS]) | (
        ratios_again.deviations != ratios.deviations
    ).any(axis=1)
    (window,) = np.flatnonzero(changed)
    assert score.where(int(again.windows["start_tick"][window])) == "bar 4, beat 3"
    assert again.windows["root_pc"][window] == 6
    table = ratios_again.tables[ratios_again.table_of_window[window]]
    assert (table.pairs[3], table.pairs[6]) == ((6, 5), (7, 5))


def test_three_rows_leave_the_rest_to_the_finder():
    score, harmony, _ = found("string_trio")
    again, _ = obeyed(score, 'windows = [{at = "3.1", to = "4.1", root = "E", chord = "min7"}]')
    inside = (again.windows["start_tick"] >= 2 * 1440) & (again.windows["end_tick"] <= 3 * 1440)
    assert again.windows["root_pc"][inside].tolist() == [4]
    outside = harmony.windows[
        (harmony.windows["end_tick"] <= 2 * 1440) | (harmony.windows["start_tick"] >= 3 * 1440)
    ]
    assert (again.windows[~inside][FIELDS] == outside[FIELDS]).all()


def test_row_without_end_lasts_to_the_next_row_or_the_end_of_the_bar():
    score, _, _ = found("evening_hymn")
    rows = 'windows = [{at = "2.1", root = "A", chord = "min"}, {at = "2.2", root = "C", chord = "maj"}]'
    stretches = [(hint.start_tick, hint.end_tick) for hint in hints(read_plan(rows), score)]
    assert stretches == [(1920, 2400), (2400, 3840)]


def test_a_row_beside_an_onset_is_meant_for_it():
    """Chords 40 ms before each bar, as performed: a row on the bar line has its own notes, whole, and no others."""
    early = [[(max(at - 0.08, 0), length, key) for at, length, key in voice] for voice in PERFORMED]
    score = build.score_of(*early)
    harmony, _ = obeyed(score, 'windows = [{at = "2.1", to = "3.1", root = "D", chord = "min"}]')
    starts = harmony.windows["start_tick"].tolist()
    assert starts == [0, round(3.92 * build.TPQ), round(7.92 * build.TPQ), round(11.92 * build.TPQ)]
    assert harmony.windows["root_pc"].tolist() == [0, 2, 7, 0]
    assert len(harmony.pieces) == 12


def test_a_section_has_the_windows_that_are_said_to_start_in_its_bars():
    """Chords 5 ticks of 480 before each bar: "bar 2, beat 1" is a window of bar 2, however early it is played."""
    early = [[(max(at - 5 / 480, 0), length, key) for at, length, key in voice] for voice in PERFORMED]
    score = build.score_of(*early)
    harmony, _ = obeyed(score, "")
    starts = harmony.windows["start_tick"]
    assert score.where(int(starts[1])) == "bar 2, beat 1"
    text = 'sections = [{bars = "2-2", drift_limit = 0}]'
    drift, _ = window_limits(read_plan(text), score, harmony, Options())
    assert (drift == 0).tolist() == [False, True, False, False]


def test_row_may_name_tones_instead_of_a_chord_type():
    score, _, _ = found("evening_hymn")
    text = 'windows = [{at = "2.1", to = "2.3", root = "A", tones = "A C F#", ratios = "1 6/5 5/3"}]'
    harmony, ratios = obeyed(score, text)
    window = int(np.searchsorted(harmony.windows["start_tick"], 1920))
    row = harmony.windows[window]
    assert (row["root_pc"], row["chord"], row["members"]) == (9, -1, 1 << 0 | 1 << 3 | 1 << 9)
    assert ratios.tables[ratios.table_of_window[window]].pairs[9] == (5, 3)


def test_ratios_for_a_chord_type_hold_throughout_and_a_row_goes_before_them():
    score, harmony, _ = found("close_harmony_tag")
    sevenths = np.flatnonzero(harmony.windows["chord"] == INDEX_OF_SYMBOL["7"])
    assert len(sevenths) > 5
    start = int(harmony.windows["start_tick"][sevenths[0]])
    bar, beat = (int(x) for x in score.meters.bar_beat(start))
    text = f'ratios."7" = "4:5:6:7"\nwindows = [{{at = "{bar}.{beat}", ratios = "1 5/4 3/2 16/9"}}]'
    _, ratios = obeyed(score, text)
    sevenths_of = [ratios.tables[ratios.table_of_window[window]].pairs[10] for window in sevenths]
    assert sevenths_of == [(16, 9)] + [(7, 4)] * (len(sevenths) - 1)


def test_sections_set_limits_for_their_bars():
    score, harmony, _ = found("evening_hymn")
    text = 'sections = [{bars = "1-4", drift_limit = 0}, {bars = "3-3", hold_limit = "none"}]'
    drift, hold = window_limits(read_plan(text), score, harmony, Options())
    bars, _ = score.meters.bar_beat(harmony.windows["start_tick"])
    np.testing.assert_array_equal(drift, np.where(bars <= 4, 0.0, Options().drift_limit_cents))
    np.testing.assert_array_equal(hold, np.where(bars == 3, math.inf, Options().hold_limit_cents))


def test_where_sections_overlap_each_limit_is_that_of_the_last_one_that_gives_it():
    score, harmony, _ = found("evening_hymn")
    text = """sections = [
      {bars = "1-6", drift_limit = 10, hold_limit = 3},
      {bars = "3-4", drift_limit = 0},
      {bars = "4-8", drift_limit = 20},
    ]"""
    drift, hold = window_limits(read_plan(text), score, harmony, Options())
    bars, _ = score.meters.bar_beat(harmony.windows["start_tick"])
    assert [set(drift[bars == bar]) for bar in range(2, 6)] == [{10.0}, {0.0}, {20.0}, {20.0}]
    assert set(hold[bars <= 6]) == {3.0}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            'windows = [\n{at = "40.1", root = "C", chord = "maj"}]',
            "line 2, windows 1, at: bar 40 is past the end",
        ),
        (
            'windows = [\n{at = "2.5", root = "C", chord = "maj"}]',
            "line 2, windows 1, at: bar 2 has no beat 5",
        ),
        (
            'windows = [\n{at = "18.9", root = "C", chord = "maj"}]',
            "line 2, windows 1, at: bar 18 has no beat 9",
        ),
        (
            'windows = [\n{at = "2.1", to = "90.1", root = "C", chord = "maj"}]',
            "line 2, windows 1, to: bar 90",
        ),
        (
            'windows = [\n{at = "2.3", root = "C", chord = "maj"},\n'
            '{at = "2.1", to = "2.4", root = "C", chord = "maj"}]',
            "line 3, windows 2, to: runs into row 1",
        ),
        (
            'windows = [\n{at = "2.1", root = "C", chord = "maj"},\n{at = "2.1", root = "D", chord = "maj"}]',
            "line 2, windows 1, at: another row starts at the same place",
        ),
        (
            'sections = [\n{bars = "90-91", drift_limit = 0}]',
            "line 2, sections 1, bars: bar 90 is past the end",
        ),
    ],
)
def test_places_outside_the_music_are_named(text, message):
    score, harmony, _ = found("evening_hymn")
    plan = read_plan(text, name="song.toml")
    with pytest.raises(PlanError, match=f"song.toml, {message}"):
        hints(plan, score), window_limits(plan, score, harmony, Options())


def test_ratios_of_a_plan_are_heard_before_lines_are_kept_still():
    """A seventh asked for as 7/4 in bar 2 of the tag sounds as 7/4 at the default balance."""
    data = (Path(__file__).parents[2] / "sample_scores" / "close_harmony_tag.mid").read_bytes()
    found = analyze(data)
    windows = found.harmony.windows
    seventh = next(i for i, w in enumerate(windows) if w["chord"] == INDEX_OF_SYMBOL["7"] and i > 1)
    bar, beat = found.score.meters.bar_beat(int(windows["start_tick"][seventh]))
    end_bar, end_beat = found.score.meters.bar_beat(int(windows["end_tick"][seventh]))
    places = f'at = "{int(bar)}.{float(beat):g}", to = "{int(end_bar)}.{float(end_beat):g}"'
    text = f'windows = [{{{places}, ratios = "1 5/4 3/2 7/4"}}]\n'
    planned = analyze(data, plan=read_plan(text, name="tag.toml"))
    tuning = tune(planned)
    sounding = {
        int(planned.score.notes["key"][row["note"]] - windows["root_pc"][seventh]) % 12: float(
            row["offset_cents"]
        )
        for row in tuning.offsets
        if row["start_tick"] <= windows["start_tick"][seventh] < row["end_tick"]
    }
    assert sounding[10] - sounding[0] == pytest.approx(-31.174, abs=0.01)  # 7/4, Helmholtz/Ellis


def test_a_ratio_for_a_tone_the_chord_lacks_is_a_slip():
    score, _, _ = found("evening_hymn")
    with pytest.raises(
        PlanError,
        match=r"song\.toml, line 1, windows 1, ratios: 6/5 is 3 semitones above the root, and G has no",
    ):
        obeyed(score, 'windows = [{at = "1.1", to = "1.3", ratios = "1 6/5 3/2"}]')


def test_a_row_keeps_the_plans_own_ratios_of_its_chord_type():
    score, _, _ = found("evening_hymn")
    text = 'ratios.maj = "1 81/64 3/2"\nwindows = [{at = "1.1", to = "1.3", ratios = "1 3/2"}]'
    _, ratios = obeyed(score, text)
    assert ratios.tables[ratios.table_of_window[0]].pairs[4] == (81, 64)


def test_ratios_for_a_part_of_a_window_hold_for_all_of_it():
    """The window of bar 1, beat 1 lasts two beats; no window starts on its second."""
    score, harmony, _ = found("evening_hymn")
    assert [score.where(int(tick)) for tick in harmony.windows["start_tick"][:2]] == [
        "bar 1, beat 1",
        "bar 1, beat 3",
    ]
    _, ratios = obeyed(score, 'windows = [{at = "1.2", to = "1.3", ratios = "1 81/64 3/2"}]')
    thirds = [ratios.tables[table].pairs[4] for table in ratios.table_of_window]
    assert (thirds[0], thirds.count((81, 64))) == ((81, 64), 1)


def test_hints_of_a_plan_lie_over_those_of_markers():
    def hint(start, end, root):
        return Hint(start_tick=start, end_tick=end, root_pc=root, chord="maj")

    marked = [hint(0, 100, 0), hint(100, 200, 1), hint(200, 300, 2)]
    merged = over([hint(50, 220, 9)], marked)
    assert [(h.start_tick, h.end_tick, h.root_pc) for h in merged] == [
        (0, 50, 0),
        (50, 220, 9),
        (220, 300, 2),
    ]
    assert over([], marked) == tuple(marked)
    apart = [hint(20, 40, 7), hint(50, 60, 8)]  # in the middle of one, and its neighbours stay where they are
    assert [(h.start_tick, h.end_tick, h.root_pc) for h in over(apart, marked)] == [
        (0, 20, 0), (20, 40, 7), (40, 50, 0), (50, 60, 8), (60, 100, 0), (100, 200, 1), (200, 300, 2),
    ]  # fmt: skip


def test_limits_are_numbers_with_fractions_whatever_the_options_hold():
    score, harmony, _ = found("evening_hymn")
    plan = read_plan('sections = [{bars = "1-2", drift_limit = 2.5, hold_limit = "none"}]', name="song.toml")
    drift, hold = window_limits(plan, score, harmony, Options(drift_limit_cents=15, hold_limit_cents=0))
    assert drift[0] == 2.5
    assert hold[0] == math.inf
    assert drift[-1] == 15.0


def test_other_options_keep_the_fixed_parts_of_the_plan():
    data = (SAMPLES / "evening_hymn.mid").read_bytes()
    planned = analyze(data, plan=read_plan('fixed = ["Bass"]', name="song.toml"))
    tuning = tune(planned, Options(drift_limit_cents=5.0))
    bass = next(part.index for part in planned.score.parts if part.name == "Bass")
    rows = tuning.offsets[planned.score.notes["part"][tuning.offsets["note"]] == bass]
    assert (rows["offset_cents"] == 0.0).all()
    assert finish(planned, tuning).analysis.options.drift_limit_cents == 5.0


@pytest.mark.parametrize(
    ("part", "message"),
    [
        ("Tenner", "fixed part 'Tenner': no such part; nearest: Tenor; the parts are 1 Soprano"),
        ("Tenor=meantone", "temperament 'meantone' is not one of"),
    ],
)
def test_a_fixed_part_that_is_not_there_is_named_with_its_line(part, message):
    plan = read_plan(f'fixed = [\n"Bass",\n"{part}",\n]', name="song.toml")
    with pytest.raises(PlanError, match=f"song.toml, line 3, fixed 2: {message}"):
        analyze((SAMPLES / "evening_hymn.mid").read_bytes(), Options(), plan=plan)

"""A piece under every tuning, side by side."""

import json
from pathlib import Path

import numpy as np
import pytest

from retune.compare import BarFigure, TuningFigures, compare, measure
from retune.harmony import find_harmony
from retune.options import Options
from retune.pipeline import Analysis, analyze
from retune.ratios import choose_ratios
from retune.tuning.fixed import fixed_tuning, table_per_chord
from retune.tuning.presets import PRESETS
from tests.tuning.build import chords, hints, score_of

SAMPLES = Path(__file__).parents[2] / "sample_scores"

FIGURE_NAMES = [
    "mean_deviation_cents", "share_within_1_cent", "deviation_p95_cents", "held_movement_max_cents",
    "held_movement_p99_cents", "repeat_shift_p95_cents", "displacement_max_cents", "displacement_end_cents",
]  # fmt: skip

PUMP = [
    [48, 64, 67, 72],
    [45, 64, 69, 72],
    [50, 62, 65, 69],
    [43, 62, 67, 71],
    [48, 64, 67, 72],
]  # I vi ii V I
PUMP_ROOTS = [(0, "maj"), (9, "min"), (2, "min"), (7, "maj"), (0, "maj")]


def analysis_of(keys, roots, **options):
    score = score_of(chords(keys))
    harmony = find_harmony(score, hints=hints(roots))
    return Analysis(score=score, harmony=harmony, ratios=choose_ratios(harmony), options=Options(**options))


@pytest.fixture(scope="module")
def pump():
    return analysis_of(PUMP, PUMP_ROOTS)


@pytest.fixture(scope="module")
def pump_compared(pump):
    return {tuning.name: tuning for tuning in compare(pump).tunings}


@pytest.fixture(scope="module")
def hymn():
    data = (SAMPLES / "evening_hymn.mid").read_bytes()
    return compare(analyze(data))


def test_equal_temperament_has_the_known_deviations(pump):
    """One major triad: 5/4 is 13.69, 6/5 15.64, 3/2 1.96 cents from equal temperament (Helmholtz/Ellis 1885)."""
    triad = analysis_of([[60, 64, 67]], [(0, "maj")])
    equal = measure(triad, fixed_tuning(triad.score, triad.harmony, np.zeros(12)), name="equal", kind="fixed")
    assert equal.figures.mean_deviation_cents == pytest.approx((13.6863 + 15.6413 + 1.9550) / 3, abs=1e-4)
    assert equal.figures.share_within_1_cent == 0.0
    assert equal.figures.deviation_p95_cents == pytest.approx(15.6413, abs=1e-4)
    assert equal.figures.held_movement_max_cents == 0.0


def test_table_per_chord_is_pure_but_held_notes_jump(pump_compared):
    """E is 5/4 over C and 3/2 over A: on equal roots it jumps from −13.69 to +1.96, by 15.64 cents."""
    figures = pump_compared["table-per-chord"].figures
    assert figures.share_within_1_cent == 1.0
    assert figures.mean_deviation_cents == pytest.approx(0.0, abs=1e-9)
    assert figures.held_movement_max_cents >= 15.64
    assert figures.displacement_max_cents == 0.0


def test_no_just_scale_holds_the_comma_pump(pump_compared):
    """I vi ii V I needs two sizes of D: one of its fifths is 40/27, a syntonic comma, 21.51 cents, narrow."""
    just = next(tuning for name, tuning in pump_compared.items() if name.startswith("just on "))
    assert just.figures.deviation_p95_cents == pytest.approx(21.506, abs=0.001)
    assert just.worst_bars(1)[0].bar == 2, "bar 2 holds the chords on D and G"


def test_own_tuning_is_steady_and_nearly_pure(pump_compared):
    own, equal = pump_compared["balanced"].figures, pump_compared["equal"].figures
    assert own.held_movement_max_cents <= 1.0
    assert own.displacement_max_cents <= 15.0 + 1e-9
    assert own.mean_deviation_cents < equal.mean_deviation_cents / 2


@pytest.mark.parametrize(("semitones", "tonic"), [(0, "C"), (2, "D"), (5, "F")])
def test_equally_good_tonics_give_way_to_that_of_the_key(semitones, tonic):
    """I IV V I is as pure in the just scale a third higher."""
    cadence = [[48, 55, 64, 72], [53, 57, 65, 72], [55, 59, 62, 74], [48, 55, 64, 72]]
    analysis = analysis_of(
        [[key + semitones for key in chord] for chord in cadence],
        [((root + semitones) % 12, "maj") for root in (0, 5, 7, 0)],
    )
    assert f"just on {tonic}" in [tuning.name for tuning in compare(analysis).tunings]


def test_every_preset_and_kind_is_measured(pump_compared):
    kinds = {name: tuning.kind for name, tuning in pump_compared.items()}
    assert [name for name, kind in kinds.items() if kind == "solved"] == list(PRESETS)
    assert kinds["table-per-chord"] == "table"
    assert next(iter(kinds)) == "equal"
    assert sum(kind == "fixed" for kind in kinds.values()) == 4


def test_presets_start_from_the_options_given():
    """With a drift limit of 0 every root stays on its equal-tempered pitch, in every preset."""
    tunings = compare(analysis_of(PUMP, PUMP_ROOTS, drift_limit_cents=0.0)).tunings
    solved = [tuning for tuning in tunings if tuning.kind == "solved"]
    assert [tuning.name for tuning in solved] == list(PRESETS)
    for tuning in solved:
        assert tuning.figures.displacement_max_cents == pytest.approx(0.0, abs=1e-6)


def test_roots_that_do_not_sound_are_placed_by_the_ratios():
    """Only the seventh of a G seventh chord sounds: F at +17.60 as 9/5 says that G sits at 0."""
    seventh = analysis_of([[65]], [(7, "7")])
    tuning = table_per_chord(seventh.score, seventh.harmony, seventh.ratios)
    assert tuning.offsets["offset_cents"][0] == pytest.approx(17.596, abs=0.001)
    measured = measure(seventh, tuning, name="table", kind="table")
    assert measured.figures.displacement_max_cents == pytest.approx(0.0, abs=1e-9)
    assert measured.displacement_cents.tolist() == pytest.approx([0.0], abs=1e-9)


def test_reference_pitch_changes_no_figure(pump_compared):
    """Figures are relations between pitches; 415 Hz is a semitone lower (ISO 16 for 440)."""
    low = {t.name: t for t in compare(analysis_of(PUMP, PUMP_ROOTS, reference_hz=415.0)).tunings}
    assert {name: t.as_json() for name, t in low.items()} == {
        n: t.as_json() for n, t in pump_compared.items()
    }


def test_json_holds_the_contract_figures(hymn):
    content = json.loads(json.dumps(hymn.as_json(), allow_nan=False))
    assert content["format"] == 1
    for tuning in content["tunings"]:
        assert set(FIGURE_NAMES) < set(tuning)
        assert all(isinstance(tuning[name], float) for name in FIGURE_NAMES)
        assert {"name", "kind", "beats_per_second", "roughness", "worst_bars"} < set(tuning)


def test_a_hymn_ranks_as_expected(hymn):
    """Pure chords beat fixed temperaments, which beat equal temperament; purity is heard as fewer beats."""
    found = {tuning.name: tuning for tuning in hymn.tunings}
    solved = [tuning for tuning in hymn.tunings if tuning.kind == "solved"]
    fixed = [tuning for tuning in hymn.tunings if tuning.kind == "fixed"]
    for own in solved:
        assert all(own.figures.mean_deviation_cents < other.figures.mean_deviation_cents for other in fixed)
        assert own.beats_per_second < found["equal"].beats_per_second / 4
        assert own.roughness < found["equal"].roughness
    assert found["table-per-chord"].figures.held_movement_max_cents > 15
    assert found["balanced"].figures.held_movement_max_cents <= 1


def test_edges_of_windows_lead_from_the_start_to_the_end(hymn):
    assert len(hymn.window_edges_bars) == len(hymn.tunings[0].displacement_cents) + 1
    assert (np.diff(hymn.window_edges_bars) > 0).all()


def test_worst_bars_are_those_furthest_from_pure():
    tuning = TuningFigures(
        name="x", kind="fixed", figures=None, beats_per_second=None, roughness=None,
        bars=np.array([1, 2, 5, 6, 8, 9]), bar_deviation_cents=np.array([3.0, 0.0, 4.5, 3.0, 0.06, 0.04]),
        displacement_cents=np.zeros(0),
    )  # fmt: skip
    assert tuning.worst_bars(2) == (
        BarFigure(bar=5, mean_deviation_cents=4.5),
        BarFigure(bar=1, mean_deviation_cents=3.0),
    )
    assert [bar.bar for bar in tuning.worst_bars(9)] == [5, 1, 6, 8], (
        "bars that are pure to the eye are left out"
    )


def test_music_without_harmony_has_empty_figures():
    """A line for one voice: nothing sounds together, and that is said with None, not 0."""
    line = score_of([(0, 0, 1, 60), (0, 1, 1, 62), (0, 2, 1, 64)])
    harmony = find_harmony(line)
    analysis = Analysis(score=line, harmony=harmony, ratios=choose_ratios(harmony), options=Options())
    tunings = compare(analysis).tunings
    assert len(tunings) > len(PRESETS)
    for tuning in tunings:
        values = tuning.as_json()
        assert values["mean_deviation_cents"] is None
        assert values["beats_per_second"] is None
        assert values["worst_bars"] == []


def test_table_per_chord_measures_the_same_as_the_tuning_itself(pump, pump_compared):
    tuning = table_per_chord(pump.score, pump.harmony, pump.ratios)
    assert (
        measure(pump, tuning, name="table-per-chord", kind="table").as_json()
        == pump_compared["table-per-chord"].as_json()
    )

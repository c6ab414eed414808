"""Guarantees of the tuning stage on random scores, and what it does with small ones."""

from dataclasses import replace
from itertools import pairwise
from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.errors import OptionError
from retune.harmony import Hint, Role, find_harmony
from retune.options import Options
from retune.ratios import choose_ratios
from retune.ratios.choose import complete
from retune.tuning import solve_tuning
from retune.tuning.fixed import table_per_chord
from retune.tuning.presets import PRESETS
from tests.encode import build
from tests.tuning.build import TPQ, chords, hints, movement, offsets_at, score_of, score_of_corpus, tuned

C, D, E, F, G, A, B = 60, 62, 64, 65, 67, 69, 71

NOTES = st.lists(
    st.tuples(
        st.integers(0, 3),
        st.integers(0, 24).map(lambda n: n / 2),
        st.integers(1, 12).map(lambda n: n / 2),
        st.integers(36, 84),
    ),
    min_size=1,
    max_size=40,
)


@settings(max_examples=60, deadline=None)
@given(NOTES, st.sampled_from([0.0, 3.0, 15.0, inf]), st.sampled_from([0.0, 1.0, 4.0, 12.0, inf]))
def test_limits_are_never_passed(notes, drift, hold):
    score = score_of(notes)
    harmony, _, tuning, _ = tuned(score, drift_limit_cents=drift, hold_limit_cents=hold)
    assert np.all(movement(score, tuning) <= hold)
    assert np.all(np.abs(tuning.displacement_cents) <= drift)
    pieces = harmony.pieces
    root = harmony.windows["root_pc"][pieces["window"]]
    at = np.searchsorted(
        tuning.offsets["note"] * 10**9 + tuning.offsets["start_tick"],
        pieces["note"] * 10**9 + pieces["start_tick"],
        side="right",
    )
    offset = tuning.offsets["offset_cents"][at - 1]
    is_root = score.notes["key"][pieces["note"]] % 12 == root
    assert np.all(np.abs(offset[is_root]) <= drift)
    assert np.all(np.isfinite(tuning.offsets["offset_cents"]))


@settings(max_examples=40, deadline=None)
@given(NOTES, st.sampled_from([0.0, 4.0, inf]))
def test_rows_cover_every_note_without_gaps(notes, hold):
    score = score_of(notes)
    _, _, tuning, _ = tuned(score, hold_limit_cents=hold)
    rows = tuning.offsets
    assert set(rows["note"]) == set(range(len(score.notes)))
    same = rows["note"][1:] == rows["note"][:-1]
    assert np.all(rows["start_tick"][1:][same] == rows["end_tick"][:-1][same])
    assert np.all(rows["offset_cents"][1:][same] != rows["offset_cents"][:-1][same])
    first = np.flatnonzero(np.append(True, ~same))
    assert np.all(rows["start_tick"][first] == score.notes["onset_tick"])


@pytest.mark.parametrize(
    ("keys", "root", "expected"),
    [  # ratios above the root: Helmholtz/Ellis; cents computed
        ([C, E, G], (0, "maj"), {E: -13.686, G: 1.955}),
        ([A, 72, 76], (9, "min"), {72: 15.641, 76: 1.955}),
        ([G, B, 74, 77], (7, "7"), {B: -13.686, 74: 1.955, 77: 17.596}),
    ],
)
def test_a_chord_is_exactly_pure(keys, root, expected):
    score = score_of(chords([keys]))
    _, _, tuning, _ = tuned(score, hints([root]))
    offsets = offsets_at(score, tuning, 1.0)
    for key, cents in expected.items():
        assert offsets[key] - offsets[keys[0]] == pytest.approx(cents, abs=1e-3)


def test_seven_limit_dominant_is_four_five_six_seven():
    score = score_of(chords([[G, B, 74, 77]]))
    _, _, tuning, _ = tuned(score, hints([(7, "7")]), prime_limit=7)
    offsets = offsets_at(score, tuning, 1.0)
    assert offsets[77] - offsets[G] == pytest.approx(-31.174, abs=1e-3)  # 7/4


def test_a_broken_chord_is_tuned_although_nothing_sounds_together():
    line = [(0, i * 0.5, 0.5, key) for i, key in enumerate([C, E, G, 72, G, E, C, E])]
    score = score_of(line)
    _, _, tuning, _ = tuned(score, hints([(0, "maj")], length=4.0))
    cents = {
        int(k): float(c) for k, c in zip(score.notes["key"], tuning.offsets["offset_cents"], strict=True)
    }
    assert cents[E] - cents[C] == pytest.approx(-13.686, abs=1e-3)
    assert cents[G] - cents[C] == pytest.approx(1.955, abs=1e-3)
    assert cents[72] - cents[C] == pytest.approx(0.0, abs=1e-3)


def test_a_suspension_keeps_the_pitch_it_was_prepared_at():
    """C held from C major over G: it does not move, and B resolves a 16/15 below it (111.731 cents)."""
    notes = [
        (0, 0, 4, C),
        (0, 4, 2, B - 12),
        (1, 0, 2, E),
        (1, 2, 4, D),
        (2, 0, 2, G),
        (2, 2, 4, G),
        (3, 0, 2, 48),
        (3, 2, 4, 43),
    ]
    score = score_of(notes)
    _, _, tuning, _ = tuned(score, hints([(0, "maj"), (7, "maj"), (7, "maj")]))
    held, resolved = offsets_at(score, tuning, 3.0)[C], offsets_at(score, tuning, 5.0)[B - 12]
    assert movement(score, tuning).max() == 0.0
    assert 100.0 + held - resolved == pytest.approx(111.731, abs=1e-3)


def test_a_fixed_part_stays_and_the_others_tune_to_it():
    notes = [(0, 0, 4, C), (1, 0, 4, E), (2, 0, 4, G)]
    score = score_of(notes, names={1: "Piano"})
    _, _, tuning, _ = tuned(score, hints([(0, "maj")], length=4.0), fixed=("piano",))
    offsets = offsets_at(score, tuning, 1.0)
    assert offsets[E] == 0.0
    assert offsets[C] == pytest.approx(13.686, abs=1e-3)
    assert offsets[G] == pytest.approx(15.641, abs=1e-3)


def test_a_fixed_part_at_a_temperament():
    """Vallotti's E lies 2.0 cents below equal temperament with A at 0 (printed tuner's tables)."""
    score = score_of([(0, 0, 4, C), (1, 0, 4, E)], names={1: "Organ"})
    _, _, tuning, _ = tuned(score, fixed=("Organ=vallotti",))
    assert offsets_at(score, tuning, 1.0)[E] == pytest.approx(-1.955, abs=0.01)


def test_parts_can_be_fixed_by_number_and_program():
    score = score_of([(0, 0, 4, C), (1, 0, 4, E)], programs={0: 3, 1: 48})
    assert offsets_at(score, tuned(score, fixed=("2",))[2], 1.0)[E] == 0.0
    assert offsets_at(score, tuned(score, fixed=("program:0-7",))[2], 1.0)[C] == 0.0


def test_an_unknown_fixed_part_is_answered_with_the_nearest_name():
    score = score_of([(0, 0, 4, C)], names={0: "Piano"})
    with pytest.raises(
        OptionError, match=r"fixed part 'Pianno': no such part; nearest: Piano; the parts are 1 Piano"
    ):
        tuned(score, fixed=("Pianno",))


def test_fixed_part_outside_the_drift_limit_is_reported():
    score = score_of([(0, 0, 4, 63), (1, 0, 4, 67)], names={0: "Organ"})
    _, _, tuning, _ = tuned(score, fixed=("Organ=quarter-comma-meantone",), drift_limit_cents=5.0)
    assert [r.code for r in tuning.remarks] == ["fixed-part-beyond-limit"]


@pytest.mark.parametrize(("home", "zero"), [("C", C), ("G", G), ("tonic", C)])
def test_home_decides_what_sits_at_the_reference(home, zero):
    keys = [[C, E, G], [C, F, A], [B - 12, D, G], [C, E, G]] * 2
    roots = [(0, "maj"), (5, "maj"), (7, "maj"), (0, "maj")] * 2
    score = score_of(chords(keys))
    _, _, tuning, _ = tuned(score, hints(roots), home=home)
    assert offsets_at(score, tuning, 1.0)[zero] == pytest.approx(0.0, abs=0.3)


def test_a_home_that_is_no_note():
    with pytest.raises(OptionError, match="home: 'H' is not mean, tonic or a note name"):
        tuned(score_of([(0, 0, 1, C)]), home="H")


def test_limits_may_differ_between_stretches():
    keys = [[C, E, G], [C, E, A], [D, F, A], [D, G, 71]] * 3
    score = score_of(chords(keys))
    harmony = find_harmony(score, hints=hints([(0, "maj"), (9, "min"), (2, "min"), (7, "maj")] * 3))
    drift = np.full(len(harmony.windows), 15.0)
    drift[4:8] = 0.0
    hold = np.full(len(harmony.windows), 1.0)
    tuning = solve_tuning(score, harmony, choose_ratios(harmony), Options(), limits=(drift, hold))
    assert np.all(np.abs(tuning.displacement_cents) <= drift)
    assert np.abs(tuning.displacement_cents).max() > 5.0


def test_pure_chords_are_pure_where_notes_must_move_for_it():
    keys = [[C, E, G], [C, E, A], [D, F, A], [D, G, 71]] * 3
    roots = [(0, "maj"), (9, "min"), (2, "min"), (7, "maj")] * 3
    score = score_of(chords(keys))
    pure = PRESETS["pure-chords"](Options())
    still = PRESETS["still-lines"](Options())
    harmony = find_harmony(score, hints=hints(roots))
    ratios = choose_ratios(harmony)
    for options, moves in ((pure, True), (still, False)):
        tuning = solve_tuning(score, harmony, ratios, options)
        assert bool(movement(score, tuning).max() > 1.0) is moves
    tuning = solve_tuning(score, harmony, ratios, pure)
    for i, (root, kind) in enumerate(roots):
        offsets = {k % 12: v for k, v in offsets_at(score, tuning, 2 * i + 1.0).items()}
        third, size = ((root + 4) % 12, -13.686) if kind == "maj" else ((root + 3) % 12, 15.641)
        assert offsets[third] - offsets[root] == pytest.approx(size, abs=1e-3)
        assert offsets[(root + 7) % 12] - offsets[root] == pytest.approx(1.955, abs=1e-3)


@pytest.mark.parametrize("again", [False, True])
def test_a_suspension_keeps_its_pitch_where_other_notes_may_move(again):
    """A, a pure third over F, is held or struck again over G with D, which would have it 17.6 cents higher."""
    suspended = [(0, 0, 2, A), (0, 2, 1, A)] if again else [(0, 0, 3, A)]
    others = [(1, 0, 2, C), (1, 2, 2, D), (2, 0, 2, 53), (2, 2, 2, 55), (3, 2, 2, 59)]
    score = score_of([*suspended, (0, 3, 1, G), *others])
    harmony = find_harmony(score, hints=hints([(5, "maj"), (7, "maj")]))
    assert Role.SUSPENSION in harmony.pieces["role"]
    options = replace(PRESETS["pure-chords"](Options()), drift_limit_cents=5.0)
    tuning = solve_tuning(score, harmony, choose_ratios(harmony), options)
    before, after = offsets_at(score, tuning, 1.0), offsets_at(score, tuning, 2.5)
    assert after[A] == pytest.approx(before[A], abs=1e-3)
    assert abs(498.045 - 500.0 - after[D] + after[A]) > 1.0  # the fourth has given way


def test_a_pedal_is_a_fixed_partner_where_other_notes_may_move():
    """C under C, F, B♭ and G, whose roots all stay in their places: no chord may draw it to its own."""
    keys = [[48, E, G], [48, 65, A], [48, D, 65, 70], [48, D, G, B], [48, E, G]]
    roots = [(0, "maj"), (5, "maj"), (10, "maj"), (7, "maj"), (0, "maj")]
    score = score_of(chords(keys))
    harmony = find_harmony(score, hints=hints(roots))
    assert Role.PEDAL in harmony.pieces["role"]
    options = replace(PRESETS["pure-chords"](Options()), drift_limit_cents=0.0)
    tuning = solve_tuning(score, harmony, choose_ratios(harmony), options)
    assert np.ptp([offsets_at(score, tuning, at)[48] for at in (1, 3, 5, 7, 9)]) < 1e-3


def test_a_bass_leaps_purely_where_chords_share_no_tone():
    """C major to D minor over F: nothing ties them but the fourth of the bass, 4/3 or 498.045 cents."""
    score = score_of(chords([[48, G, 72, 76], [53, F, A, 74]]))
    _, _, tuning, _ = tuned(score, hints([(0, "maj"), (2, "min")]))
    before, after = offsets_at(score, tuning, 1.0), offsets_at(score, tuning, 3.0)
    assert 500.0 + after[53] - before[48] == pytest.approx(498.045, abs=1e-3)


@pytest.mark.parametrize(("rest", "is_one_line"), [(0.0, True), (1.9, True), (2.0, False), (8.0, False)])
def test_a_rest_of_two_quarters_ends_a_line(rest, is_one_line):
    """C, then G: the fifth of a line is drawn to 3/2 (701.955 cents); after a rest nothing ties the two."""
    second = 2.0 + rest
    starts = [0, round(second * TPQ), round((second + 2.0) * TPQ)]
    given = [
        Hint(start_tick=start, end_tick=end, root_pc=root, chord="maj")
        for (start, end), root in zip(pairwise(starts), (0, 7), strict=True)
    ]
    _, _, tuning, _ = tuned(score_of([(0, 0.0, 2.0, C), (0, second, 2.0, G)]), given)
    low, high = tuning.offsets["offset_cents"]
    assert high - low == pytest.approx(1.955 if is_one_line else 0.0, abs=1e-3)


@pytest.mark.parametrize(("quarters", "is_bound"), [(7.5, True), (8.5, False)])
def test_what_rings_under_the_pedal_binds_others_for_four_seconds(quarters, is_bound):
    """C rings on under a pedal that is never lifted; at 120 to the minute eight quarters last four seconds.

    E is drawn to 5/4 above it, 13.686 cents below the tempered third, or by nothing.
    """
    released, struck = 2 * TPQ, round((2.0 + quarters) * TPQ)
    pedal = [(0, "control_change channel=0 control=64 value=127")]
    score = build.score_of(
        [build.in_order(pedal, build.note(0, released, C), build.note(struck, struck + 2 * TPQ, E))]
    )
    given = [
        Hint(start_tick=0, end_tick=struck, root_pc=0, chord="maj"),
        Hint(start_tick=struck, end_tick=struck + 2 * TPQ, root_pc=4, chord="maj"),
    ]
    low, high = tuned(score, given)[2].offsets["offset_cents"]
    assert high - low == pytest.approx(-13.686 if is_bound else 0.0, abs=1e-3)


def test_a_semitone_of_a_line_is_no_wider_than_16_15():
    """G minor to F major: B flat falls to A, by 129 cents if roots stayed at home; nothing else ties the chords."""
    score = score_of(chords([[G, 70, 74], [F, A, 72]]))
    _, _, tuning, _ = tuned(score, hints([(7, "min"), (5, "maj")]))
    before, after = offsets_at(score, tuning, 1.0), offsets_at(score, tuning, 3.0)
    assert 100.0 + before[70] - after[A] == pytest.approx(111.731, abs=0.1)


def test_a_third_gives_way_before_an_octave():
    """C sounds three quarters with E, two of them with a lower C; both others cannot be moved."""
    notes = [(0, 0, 2, 48), (1, 0, 3, E), (2, 0, 3, C)]
    score = score_of(notes, names={0: "Piano", 1: "Organ"})
    _, _, tuning, _ = tuned(score, hints([(0, "maj")], length=3.0), fixed=("Piano", "Organ"))
    assert offsets_at(score, tuning, 1.0)[C] == pytest.approx(0.0, abs=1e-3)


def test_a_diminished_seventh_joins_the_chords_around_it():
    """C minor, F♯ diminished seventh, G: C and E♭ stay where they were although they change octave and part."""
    score = score_of(chords([[48, C, 63, G], [51, C, 66, A], [50, 59, G, 74]]))
    _, _, tuning, _ = tuned(score, hints([(0, "min"), (6, "dim7"), (7, "maj")]))
    minor, diminished = offsets_at(score, tuning, 1.0), offsets_at(score, tuning, 3.0)
    assert diminished[C] == pytest.approx(minor[C], abs=1e-3)
    assert diminished[51] == pytest.approx(minor[63], abs=1e-3)


def test_ratios_of_the_user_are_obeyed_where_the_chord_could_be_pure():
    """A Pythagorean third, 81/64 or 407.820 cents, although 5/4 is within the limit."""
    score = score_of(chords([[C, E, G]]))
    harmony = find_harmony(score, hints=hints([(0, "maj")]))
    third = complete({4: (81, 64), 7: (3, 2)}, 5)
    for own in ({"for_chord": {"maj": third}}, {"for_window": {0: third}}):
        ratios = choose_ratios(harmony, **own)
        offsets = offsets_at(score, solve_tuning(score, harmony, ratios, Options()), 1.0)
        assert 400.0 + offsets[E] - offsets[C] == pytest.approx(407.820, abs=1e-3)


def test_transposition_changes_nothing():
    keys = [[C, E, G], [C, F, A], [B, D, F, G], [C, E, G]]
    roots = [(0, "maj"), (5, "maj"), (7, "7"), (0, "maj")]
    plain = tuned(score_of(chords(keys)), hints(roots))[2]
    moved = tuned(
        score_of(chords([[k + 5 for k in chord] for chord in keys])),
        hints([((r + 5) % 12, c) for r, c in roots]),
    )[2]
    assert moved.offsets["offset_cents"] == pytest.approx(plain.offsets["offset_cents"], abs=2e-3)


def test_the_reference_pitch_moves_everything_alike():
    """442 Hz lies 7.85 cents above 440 Hz (1200·log2(442/440))."""
    keys, roots = [[C, E, G], [C, F, A]], [(0, "maj"), (5, "maj")]
    plain = tuned(score_of(chords(keys)), hints(roots))[2]
    sharp = tuned(score_of(chords(keys)), hints(roots), reference_hz=442.0)[2]
    assert sharp.offsets["offset_cents"] - plain.offsets["offset_cents"] == pytest.approx(7.8514, abs=1e-3)
    assert sharp.displacement_cents == pytest.approx(plain.displacement_cents)


def odd_steps_and_comma_jumps(score, tuning):
    """Counted from the offsets alone: steps outside 70–130 and 170–235 cents, repeats that shift over 10.75."""
    first = {int(r["note"]): float(r["offset_cents"]) for r in tuning.offsets[::-1]}
    last = {int(r["note"]): float(r["offset_cents"]) for r in tuning.offsets}
    odd = jumps = 0
    for part in range(len(score.parts)):
        mine = np.flatnonzero(score.notes["part"] == part)
        for a, b in pairwise(mine):
            rise = int(score.notes["key"][b]) - int(score.notes["key"][a])
            size = abs(100 * rise + first[b] - last[a])
            odd += (abs(rise) == 1 and not 70 <= size <= 130) or (abs(rise) == 2 and not 170 <= size <= 235)
            jumps += rise == 0 and abs(first[b] - last[a]) > 10.75
    return odd, jumps


def test_melodies_lurch_less_than_with_a_table_per_chord():
    """Four voices of a corpus chorale (public domain): fewer odd steps, far fewer comma jumps."""
    odd, jumps = np.zeros(2), np.zeros(2)
    for name in ("bach/bwv269", "bach/bwv145.5", "bach/bwv66.6"):
        score = score_of_corpus(name)
        harmony = find_harmony(score)
        ratios = choose_ratios(harmony)
        for i, tuning in enumerate(
            (table_per_chord(score, harmony, ratios), solve_tuning(score, harmony, ratios, Options()))
        ):
            counts = odd_steps_and_comma_jumps(score, tuning)
            odd[i] += counts[0]
            jumps[i] += counts[1]
    assert jumps[1] <= 0.2 * jumps[0]
    assert odd[1] < odd[0]


def test_more_notes_at_once_than_can_be_tuned_together_are_told():
    """600 notes at one tick are 179,700 pairs, of which each note is given its next 16."""
    crowd = [(part, 4.0, 2.0, key) for part in range(5) for key in range(120)]
    _, _, tuning, _ = tuned(score_of([(0, 0.0, 2.0, C), *crowd]))
    left_out = sum(max(599 - i - 16, 0) for i in range(600))
    (remark,) = (remark for remark in tuning.remarks if remark.code == "crowded")
    assert remark.where == "bar 2, beat 1"
    assert f"{left_out} of 179700 pairs of notes were left out" in remark.message
    assert tuned(score_of(chords([[C, E, G]])))[2].remarks == ()

"""The same plain progressions in the textures music is written in. Expected chords: common practice, no source."""

import pytest

from retune.harmony import find_harmony
from tests.harmony.build import TPQ, blocks, heard, row, score_of

I_IV_V_I = [(0.0, "C maj"), (4.0, "F maj"), (8.0, "G maj"), (12.0, "C maj")]


def test_block_chords_in_inversions():
    score = score_of(
        *blocks([48, 64, 67, 72], [57, 60, 65, 72], [43, 62, 71, 74], [52, 60, 67, 72], length=4.0)
    )
    assert heard(score) == I_IV_V_I
    assert find_harmony(score).windows["bass_pc"].tolist() == [0, 9, 7, 4]


def test_broken_chords_gather_into_one_window():
    figures = [(48, 52, 55, 60), (53, 57, 60, 65), (43, 47, 50, 55), (48, 52, 55, 60)]
    line = [note for i, keys in enumerate(figures) for note in row([*keys] * 2, 0.5, 4.0 * i)]
    assert heard(score_of(line)) == I_IV_V_I


def test_alberti_bass_under_a_melody():
    figures = [(48, 52, 55), (48, 53, 57), (47, 50, 55), (48, 52, 55)]
    bass = [note for i, (a, b, c) in enumerate(figures) for note in row([a, c, b, c] * 2, 0.5, 4.0 * i)]
    melody = [(0, 4, 76), (4, 4, 77), (8, 4, 74), (12, 4, 72)]
    assert heard(score_of(melody, bass)) == I_IV_V_I


def test_arpeggios_under_a_sustained_melody():
    figures = [(36, 48, 55, 64), (41, 48, 57, 65), (43, 50, 59, 62), (36, 48, 55, 64)]
    bass = [
        note for i, (a, b, c, d) in enumerate(figures) for note in row([a, b, c, d, c, b, c, b], 0.5, 4.0 * i)
    ]
    melody = [(0, 4, 79), (4, 4, 77), (8, 4, 74), (12, 4, 72)]
    assert heard(score_of(melody, bass)) == I_IV_V_I


@pytest.mark.parametrize("gap_ms", [0, 10, 15])
def test_strummed_chords_are_one_onset(gap_ms):
    """Six strings 15 ms apart take 75 ms; at 120 to the minute a quarter is 500 ms."""
    strings = [(40, 47, 52, 56, 59), (45, 52, 57, 60, 64), (43, 47, 50, 55, 59), (36, 52, 55, 60, 64)]
    gap = gap_ms / 500
    strum = [
        (2.0 * i + s * gap, 1.9 - s * gap, key)
        for i, keys in enumerate(strings)
        for s, key in enumerate(keys)
    ]
    assert heard(score_of(strum)) == [(0.0, "E maj"), (2.0, "A min"), (4.0, "G maj"), (6.0, "C maj")]


def test_notes_that_ring_under_the_pedal_count_for_their_chord():
    notes = [
        (4.0 * i + 0.5 * n, 0.4, key)
        for i, keys in enumerate([(48, 64, 67), (45, 60, 64), (41, 65, 69), (43, 62, 71)])
        for n, key in enumerate(keys)
    ]
    pedal = [(4.0 * i + at, value) for i in range(4) for at, value in ((0.0, 127), (3.9, 0))]
    assert heard(score_of(notes, pedal=pedal)) == [
        (0.0, "C maj"),
        (4.0, "A min"),
        (8.0, "F maj"),
        (12.0, "G maj"),
    ]


def test_arpeggios_under_the_pedal_keep_their_foot():
    """Left hand root, fifth, tenth …; the root rings on under the pedal while the finger has left it."""
    bars = [
        ((41, 48, 56, 63), (75, 72), "F min7"),
        ((46, 53, 56, 62), (74, 77), "Bb 7"),
        ((51, 58, 62, 67), (79, 75), "Eb maj7"),
    ]
    left, right, pedal = [], [], []
    for i, ((a, b, c, d), melody, _) in enumerate(bars):
        left += row([a, b, c, d, c, b, c, b], 0.5, 4.0 * i)
        right += row(melody, 2.0, 4.0 * i)
        pedal += [(4.0 * i + 0.05, 127), (4.0 * i + 3.99, 0)]
    assert heard(score_of(left, right, pedal=pedal)) == [(4.0 * i, bar[2]) for i, bar in enumerate(bars)]


def test_single_line_implies_its_harmony():
    line = row([60, 64, 67, 72, 67, 64, 60, 64, 62, 65, 69, 74, 69, 65, 62, 65], 0.5)
    line += row([55, 59, 62, 65, 67, 65, 62, 59, 60, 64, 67, 72, 76, 72, 67, 64], 0.5, 8.0)
    assert heard(score_of(line)) == [(0.0, "C maj"), (4.0, "D min"), (8.0, "G 7"), (12.0, "C maj")]


def test_single_line_over_an_organ_point_has_the_chords_that_sound():
    """I IV V7 I over the tonic, in sixteenths with a neighbour: no chord has a root that does not sound."""
    bars = [(43, 50, 59, 57, 59, 50, 59, 50), (43, 52, 60, 59, 60, 52, 60, 52)]
    bars += [(43, 54, 60, 59, 60, 54, 60, 54), (43, 55, 59, 57, 59, 55, 59, 50)]
    line = [note for i, keys in enumerate(bars) for note in row([*keys] * 2, 0.25, 4.0 * i)]
    roots = [chord.split()[0] for _, chord in heard(score_of(line))]
    assert roots == ["G", "C", "D", "G"]


def test_two_parts_with_passing_notes():
    upper = [(0, 1, 76), (1, 1, 74), (2, 2, 72), (4, 2, 72), (6, 2, 69), (8, 2, 71), (10, 2, 74), (12, 4, 76)]
    lower = [(0, 4, 48), (4, 4, 53), (8, 4, 43), (12, 4, 48)]
    roots = [chord.split()[0] for _, chord in heard(score_of(upper, lower))]
    assert roots == ["C", "F", "G", "C"]


def test_waltz_keeps_the_bass_of_the_first_beat():
    bars = [(36, 52, 55), (43, 53, 59), (43, 53, 59), (36, 52, 55)]
    notes = [
        (3.0 * i + beat, 1.0, key)
        for i, (bass, low, high) in enumerate(bars)
        for beat, key in ((0, bass), (1, low), (1, high), (2, low), (2, high))
    ]
    roots = [chord.split()[0] for _, chord in heard(score_of(notes, meter=(3, 4)))]
    assert roots == ["C", "G", "C"]


def test_organ_point_does_not_hide_the_chords_above_it():
    above = blocks([52, 60, 67], [53, 60, 69], [55, 59, 65], [52, 60, 67], length=4.0)
    score = score_of([(0.0, 16.0, 36)], *above)
    assert heard(score) == [(0.0, "C maj"), (4.0, "F maj"), (8.0, "G 7"), (12.0, "C maj")]


def test_dense_cluster_has_a_root_and_names_its_members():
    windows = find_harmony(score_of(*blocks([60, 61, 62, 63, 64, 65]))).windows
    assert windows["chord"].tolist() == [-1]
    tones = {(int(windows["root_pc"][0]) + s) % 12 for s in range(12) if int(windows["members"][0]) >> s & 1}
    assert tones == {0, 1, 2, 3, 4, 5}


def test_drums_say_nothing_but_pitched_percussion_does():
    """Channel 10 is percussion (General MIDI 1, p. 2); a marimba on another channel plays chords."""
    drums = row([36, 38, 42, 38] * 4, 1.0)
    figure = [(60, 64, 67), (57, 60, 64)]
    marimba = [n for i, (a, b, c) in enumerate(figure) for n in row([a, b, c, b] * 2, 0.5, 4.0 * i)]
    with_drums = find_harmony(score_of(drums, marimba, channels=[9, 3]))
    without = find_harmony(score_of(marimba, channels=[3]))
    assert with_drums.windows.tolist() == without.windows.tolist()
    assert [chord for _, chord in heard(score_of(drums, marimba, channels=[9, 3]))][:2] == ["C maj", "A min"]


@pytest.mark.parametrize(
    ("chords", "expected"),
    [
        ([[48, 64, 67, 72], [54, 63, 69, 72], [55, 62, 71, 74]], ["C maj", "F# dim7", "G maj"]),
        ([[48, 63, 67], [53, 62, 68, 72], [55, 62, 71], [48, 63, 67]], ["C min", "D min7b5", "G maj", "C min"]),
        ([[48, 64, 67, 72], [50, 65, 71, 74], [52, 67, 72, 76]], ["C maj", "B dim", "C maj"]),
        ([[50, 57, 60, 65], [43, 59, 62, 65], [48, 59, 64, 67]], ["D min7", "G 7", "C maj7"]),
    ],
    ids=["viio7/V to V", "iiø65 not iv6", "viio6 not ii", "ii7 V7 I7"],
)  # fmt: skip
def test_chords_that_share_tones_with_others(chords, expected):
    assert [chord for _, chord in heard(score_of(*blocks(*chords)))] == expected


def test_performed_beat_that_lies_beside_the_notated_one_is_found():
    """Everything 0.3 of a beat late: the windows are those of the score on the beat, moved."""
    late = [
        [(s + 0.3, d, k) for s, d, k in voice]
        for voice in blocks([48, 64, 67], [53, 60, 69], [43, 62, 71], [48, 64, 67], length=4.0)
    ]
    moved = [(start + 0.3, chord) for start, chord in I_IV_V_I]
    moved[0] = (0.0, moved[0][1])  # nothing sounds before it in its bar
    assert heard(score_of(*late)) == moved


def test_no_pitched_notes_no_windows():
    for score in (score_of([]), score_of(row([36, 38], 1.0), channels=[9])):
        harmony = find_harmony(score)
        assert (len(harmony.windows), len(harmony.pieces), len(harmony.keys)) == (0, 0, 0)


@pytest.mark.parametrize("length", [0.0, 4.0])
def test_one_note(length):
    harmony = find_harmony(score_of([(1.0, length, 69)]))
    assert [(int(w["root_pc"]), int(w["bass_pc"])) for w in harmony.windows] == [(9, 9)]
    assert harmony.pieces["role"].tolist() == [0]
    assert harmony.pieces["end_tick"].tolist() == [TPQ + round(length * TPQ)]

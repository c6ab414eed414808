"""Chords to tune slowly."""

from __future__ import annotations

from dataclasses import replace

import pytest

from retune.harmony import Hint
from retune.parts import SheetOptions
from retune.parts.rehearsal import beat_rate, interval_ratio, slow_chords
from retune.units import key_to_hz, ratio_to_cents
from tests.parts.build import HYMN, HYMN_CHORDS, chord_hints, score_of, sheets_of, stages

# Beats a second of tempered intervals at A4 = 440 Hz as piano tuners list them (common practice, no source; each
# value also follows from |n·f − m·g| of the two coinciding partials).
TUNERS_TABLE = [
    (53, 57, (5, 4), 6.93),
    (57, 61, (5, 4), 8.73),
    (53, 56, (6, 5), 9.42),
    (57, 60, (6, 5), 11.87),
    (53, 58, (4, 3), 0.79),
    (53, 60, (3, 2), 0.59),
    (53, 62, (5, 3), 7.92),
    (57, 65, (8, 5), 13.86),
]


@pytest.mark.parametrize(("low", "high", "ratio", "beats"), TUNERS_TABLE)
def test_beats_of_tempered_intervals(low: int, high: int, ratio: tuple[int, int], beats: float) -> None:
    f, g = (float(key_to_hz(float(key), 0.0)) for key in (low, high))
    assert abs(ratio[0] * f - ratio[1] * g) == pytest.approx(beats, abs=0.006)
    off = 100.0 * (high - low) - ratio_to_cents(*ratio)
    assert beat_rate(f, ratio, off) == pytest.approx(beats, abs=0.006)


@pytest.mark.parametrize(
    ("lower", "upper", "semitones", "ratio"),
    [
        ((1, 1), (5, 4), 4, (5, 4)),
        ((1, 1), (5, 4), 16, (5, 2)),
        ((1, 1), (3, 2), 19, (3, 1)),
        ((5, 4), (1, 1), 8, (8, 5)),  # a third below its root
        ((5, 4), (3, 2), 3, (6, 5)),
        ((3, 2), (5, 4), 9, (5, 3)),
        ((1, 1), (1, 1), 0, (1, 1)),
        ((1, 1), (1, 1), 36, (8, 1)),
    ],
)
def test_ratio_of_two_voices(
    lower: tuple[int, int], upper: tuple[int, int], semitones: int, ratio: tuple[int, int]
) -> None:
    assert interval_ratio(lower, upper, semitones) == ratio


def test_voices_come_in_as_bass_fifth_octave_third() -> None:
    """The order in which choirs tune a chord (common practice, no source)."""
    chord = sheets_of(score_of(HYMN), HYMN_CHORDS).chords[0]
    assert (chord.bar, chord.beat, chord.name) == (1, 1.0, "C major triad")
    assert [(v.part, str(v.pitch), v.degree) for v in chord.voices] == [
        ("Bass", "C3", "root"),
        ("Alto", "G4", "fifth"),
        ("Soprano", "C5", "root"),
        ("Tenor", "E4", "third"),
    ]
    root, fifth, octave, third = (v.cents for v in chord.voices)
    assert (fifth - root, octave - root) == (2, 0)
    assert third - root in (-13, -14)  # −13.69, both ends rounded


def test_the_third_is_told_how_it_beats_at_piano_pitch() -> None:
    """E4 over C3 is 5:2; left 13.69 cents high it beats 5·f·|2^(x/1200) − 1| = 5.19 a second (C3 = 130.8 Hz)."""
    third = sheets_of(score_of(HYMN), HYMN_CHORDS).chords[0].voices[-1]
    assert "pure octave and major third above Bass (5:2)" in third.hint
    assert "14 cents too high and beats 5.2 times a second" in third.hint


@pytest.mark.parametrize(("root", "told"), [(66, "beats 14.7 times a second"), (67, "sounds rough")])
def test_beats_too_fast_to_count_are_told_as_roughness(root: int, told: str) -> None:
    """5·f·(2^(13.69/1200) − 1) is 14.7 over F♯4 (370.0 Hz) and 15.6 over G4 (392.0 Hz); 15: common practice."""
    voices = {name: [(0.0, 4.0, root + k)] for name, k in (("Low", 0), ("Mid", 4), ("High", 7))}
    (chord,) = sheets_of(score_of(voices), chord_hints((root % 12, "maj")), drift_limit_cents=0.0).chords
    hints = {voice.part: voice.hint for voice in chord.voices}
    assert (
        f"pure major third above Low (5:4). At piano pitch it is 14 cents too high and {told};"
        in hints["Mid"]
    )


def test_a_low_third_above_the_bass_is_told_against_the_bass() -> None:
    """First inversion: the third is the bass and stands first; the root lies 8:5 above it."""
    score = score_of({"A": [(0.0, 4.0, 64)], "B": [(0.0, 4.0, 67)], "C": [(0.0, 4.0, 72)]})
    voices = sheets_of(score, chord_hints((0, "maj"))).chords[0].voices
    assert [v.degree for v in voices] == ["third", "fifth", "root"]
    assert "pure minor third above A (6:5). At piano pitch it is 16 cents too low" in voices[1].hint
    assert "pure fourth above B (4:3). At piano pitch it is 2 cents too high" in voices[2].hint


def test_every_kind_of_chord_comes_before_a_second_of_one_kind() -> None:
    notes = {"Low": [], "Mid": [], "High": []}
    plan = [(0, 4, 7), (5, 9, 12), (0, 4, 7), (7, 11, 14), (0, 4, 7)]
    for bar, chord in enumerate(plan):
        for name, key in zip(notes, chord, strict=True):
            notes[name].append((4.0 * bar, 4.0, 48 + key))
    hints = chord_hints((0, "maj"), (5, "maj"), (0, "maj"), (7, "maj"), (0, "maj"))
    from retune.parts import SheetOptions

    three = sheets_of(score_of(notes), hints, SheetOptions(chords=3)).chords
    assert [c.name[0] for c in three] == ["C", "F", "G"]
    assert len(sheets_of(score_of(notes), hints, SheetOptions(chords=9)).chords) == 5
    assert sheets_of(score_of(notes), hints, SheetOptions(chords=0)).chords == ()


def test_a_chord_has_the_voices_that_sound_in_its_middle() -> None:
    voices = {"Low": [(0.0, 4.0, 48)], "Mid": [(0.0, 4.0, 64)], "High": [(0.0, 4.0, 67)]}
    voices |= {"Early": [(0.0, 1.0, 72)], "Late": [(3.0, 1.0, 76)]}
    (chord,) = sheets_of(score_of(voices), chord_hints((0, "maj"))).chords
    assert {voice.part for voice in chord.voices} == {"Low", "Mid", "High"}


def test_two_tones_and_their_octaves_are_no_chord_to_tune() -> None:
    voices = {"Low": [(0.0, 4.0, 48), (4.0, 4.0, 48)], "Mid": [(0.0, 4.0, 64)], "High": [(0.0, 8.0, 67)]}
    voices["Top"] = [(0.0, 8.0, 72)]
    chords = sheets_of(score_of(voices), chord_hints((0, "maj"), (0, "5"))).chords
    assert [chord.bar for chord in chords] == [1]


def test_a_voice_below_its_partner_is_too_high_when_the_interval_is_too_narrow() -> None:
    """The tempered fifth is 1.955 cents narrow: the lower voice of it lies too high."""
    score = score_of({"A": [(0.0, 4.0, 52)], "B": [(0.0, 4.0, 79)], "C": [(0.0, 4.0, 72)]})
    voices = sheets_of(score, chord_hints((0, "maj"))).chords[0].voices
    assert [v.part for v in voices] == ["A", "B", "C"]
    assert "pure fifth below B (3:2). At piano pitch it is 2 cents too high" in voices[2].hint


def test_a_voice_is_not_told_to_stand_still_where_the_tuning_has_no_pure_interval_for_it() -> None:
    """Two parts in equal temperament leave the third of C major 13.7 cents wide (5/4: 386.3 cents)."""
    score = score_of({"Organ": [(0.0, 4.0, 48), (0.0, 4.0, 64)], "Top": [(0.0, 4.0, 67)]})
    (chord,) = sheets_of(score, chord_hints((0, "maj")), fixed=("Organ",)).chords
    hints = {str(voice.pitch): voice.hint for voice in chord.voices}
    assert hints["E4"] == (
        "go by the number: here it stays 14 cents wider than a pure octave and major third above Organ (5:2)"
    )
    assert "(3:1)" in hints["G4"], "the fifth is pure with the bass and listens to it"


def test_a_voice_listens_to_one_with_which_it_is_pure() -> None:
    """G lies a comma from C but is pure with E: it is told E, although 3:2 with C would be simpler."""
    score, harmony, ratios, tuning = stages(
        score_of({"Low": [(0.0, 4.0, 60)], "Mid": [(0.0, 4.0, 64)], "Top": [(0.0, 4.0, 67)]}),
        chord_hints((0, "maj")),
    )
    offsets = tuning.offsets.copy()
    offsets["offset_cents"] = [0.0, -13.686 - 21.506, 1.955 - 21.506]
    (chord,) = slow_chords(score, harmony, ratios, replace(tuning, offsets=offsets), 8, 440.0)
    hints = {voice.part: voice.hint for voice in chord.voices}
    assert hints["Top"].startswith("go by the number: here it stays 22 cents narrower than a pure fifth")
    assert hints["Mid"].startswith("pure minor third below Top (6:5)")


def test_pure_chords_are_chosen_before_longer_ones_that_are_not() -> None:
    """The long C of bars 1-2 is spoiled by an organ in equal temperament, the short C of bar 3 is not."""
    parts = {
        "Organ": [(0.0, 8.0, 60), (0.0, 8.0, 64)],
        "Low": [(8.0, 4.0, 48)],
        "Mid": [(8.0, 4.0, 64)],
        "Top": [(0.0, 12.0, 67)],
    }
    given = [
        *chord_hints((0, "maj"), bars=2.0),
        Hint(start_tick=8 * 480, end_tick=12 * 480, root_pc=0, chord="maj"),
    ]
    chords = sheets_of(score_of(parts), given, SheetOptions(chords=1), fixed=("Organ",)).chords
    assert [chord.bar for chord in chords] == [3]


def test_crowds_are_not_built_up_voice_by_voice() -> None:
    """More than three hundred voices on a triad: each would be told about all before it."""
    crowd = {f"voice {k}": [(0.0, 4.0, (60, 64, 67)[k % 3])] for k in range(15)}
    assert len(sheets_of(score_of(crowd)).chords) == 1
    crowd["chorus"] = [(0.0, 4.0, key) for key in (60, 64, 67) for _ in range(100)]
    assert sheets_of(score_of(crowd)).chords == ()

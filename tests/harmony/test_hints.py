"""Chords given from outside: used as they are, and nothing else moves."""

import mido
import pytest

from retune.errors import OptionError
from retune.harmony import Hint, find_harmony, hints_from_markers
from tests.harmony.build import TPQ, blocks, changes, score_of

PROGRESSION = blocks([48, 64, 67], [53, 60, 69], [43, 62, 71], [48, 64, 67], length=4.0)


def hint(start, end, root, chord, **more):
    return Hint(start_tick=round(start * TPQ), end_tick=round(end * TPQ), root_pc=root, chord=chord, **more)


def marked(*texts, kind="marker", voices=PROGRESSION):
    """Score with texts (quarter, text)."""
    return score_of(*voices, extra=[(at, mido.MetaMessage(kind, text=text)) for at, text in texts])


def test_given_window_is_used_exactly_and_the_others_stay():
    score = score_of(*PROGRESSION)
    plain = find_harmony(score).windows
    changed = find_harmony(score, hints=[hint(4, 8, 2, "min7", bass_pc=5, members=0b1001)]).windows
    assert changed[[0, 2, 3]].tolist() == plain[[0, 2, 3]].tolist()
    assert changed[1].tolist() == (4 * TPQ, 8 * TPQ, 2, 5, 10, 0b1001, True)


def test_hint_inside_a_window_leaves_both_rests_of_it():
    harmony = find_harmony(score_of(*PROGRESSION), hints=[hint(5, 6, 9, "min")])
    assert changes(harmony)[1:4] == [(4.0, "F maj"), (5.0, "A min"), (6.0, "F maj")]
    assert harmony.windows["given"].tolist() == [False, False, True, False, False, False]


def test_windows_stay_without_gaps_whatever_is_given():
    score = score_of(*PROGRESSION)
    hints = [hint(-3, 1.3, 0, "maj"), hint(3.9, 9, 5, "6"), hint(8.5, 8.7, 7, "7"), hint(15, 99, 0, "maj")]
    windows = find_harmony(score, hints=hints).windows
    assert windows["start_tick"][0] == 0
    assert windows["end_tick"][-1] == 16 * TPQ
    assert (windows["start_tick"][1:] == windows["end_tick"][:-1]).all()
    assert (windows["end_tick"] > windows["start_tick"]).all()


def test_hint_without_music_is_left_out_with_a_remark():
    harmony = find_harmony(score_of(*PROGRESSION), hints=[hint(40, 44, 0, "maj")])
    assert [remark.where for remark in harmony.remarks] == ["bar 11, beat 1"]
    assert not harmony.windows["given"].any()


def test_unknown_chord_is_named():
    with pytest.raises(OptionError, match="chord 'major' is not one of maj, min"):
        find_harmony(score_of(*PROGRESSION), hints=[hint(0, 4, 0, "major")])


@pytest.mark.parametrize("kind", ["marker", "cue_marker", "text", "lyrics"])
def test_chord_symbols_in_the_file_hold_until_the_next(kind):
    score = marked(
        (0, "Am7"), (4, "F/A"), (8, "N.C."), (12, "C△7".encode().decode("latin-1")), kind=kind
    )  # UTF-8, as the parser gives it
    found = [
        (h.start_tick / TPQ, h.end_tick / TPQ, h.root_pc, h.chord, h.bass_pc)
        for h in hints_from_markers(score)[0]
    ]
    assert found == [(0, 4, 9, "min7", None), (4, 8, 5, "maj", 9), (12, 16, 0, "maj7", None)]
    assert changes(find_harmony(score, hints=hints_from_markers(score)[0])) == [
        (0.0, "A min7"),
        (4.0, "F maj"),
        (8.0, "G maj"),
        (12.0, "C maj7"),
    ]


@pytest.mark.parametrize(
    "texts",
    [
        [(0, "A"), (4, "B"), (8, "Verse"), (12, "Chorus")],  # rehearsal letters among words
        [(0, "A"), (4, "men")],  # too few
        [(0, "A"), (4, "A"), (8, "A"), (12, "A")],  # always the same
        [(0, "Glo"), (2, "ri"), (4, "a"), (8, "in"), (12, "E")],
        [(0, "A"), (4, "B"), (8, "C"), (12, "D")],  # rehearsal letters alone
    ],
)
def test_words_and_letters_are_not_taken_for_chords(texts):
    assert hints_from_markers(marked(*texts)) == ((), ())
    assert hints_from_markers(marked(*texts, kind="lyrics")) == ((), ())


@pytest.mark.parametrize(("symbols", "words", "taken"), [(4, 1, 4), (3, 1, 0), (7, 2, 0), (8, 2, 8)])
def test_texts_are_chords_where_four_in_five_read_as_one(symbols, words, taken):
    chords = ["Am7", "F", "G7", "C"] * 2
    texts = [*chords[:symbols], *["Verse", "Chorus"][:words]]
    found, remarks = hints_from_markers(marked(*((1.5 * at, text) for at, text in enumerate(texts))))
    assert len(found) == taken
    assert len(remarks) == (words if taken else 0)


@pytest.mark.parametrize(("texts", "taken"), [("C F6", 0), ("C F6 C", 3), ("C C C", 0)])
def test_three_symbols_of_two_kinds_are_enough(texts, taken):
    found, _ = hints_from_markers(marked(*((4 * at, text) for at, text in enumerate(texts.split()))))
    assert len(found) == taken


@pytest.mark.parametrize("apart_ms", [-50, 50])
def test_a_symbol_beside_an_onset_is_meant_for_it(apart_ms):
    """Performed timing: what lies within 60 ms starts together, as in the notes; at 120 a quarter has 500 ms."""
    apart = apart_ms / 500
    found, remarks = hints_from_markers(marked((0, "C"), (4 + apart, "F6"), (8 + apart, "G7"), (12, "C")))
    assert [(h.start_tick / TPQ, h.chord) for h in found] == [(0, "maj"), (4, "6"), (8, "7"), (12, "maj")]
    assert not remarks


def test_a_symbol_off_the_beat_stays_there():
    found, _ = hints_from_markers(marked((0, "C"), (4.5, "F6"), (8, "G7"), (12, "C")))
    assert [h.start_tick / TPQ for h in found] == [0, 4.5, 8, 12]


def test_what_is_no_symbol_and_what_contradicts_is_told():
    texts = [(0, "C"), (4, "F"), (6, "F/H"), (8, "G7"), (10, "G"), (12, "Am"), (12, "C"), (14, "C")]
    found, remarks = hints_from_markers(marked(*texts))
    assert [(h.start_tick / TPQ, h.root_pc) for h in found] == [
        (0, 0),
        (4, 5),
        (8, 7),
        (10, 7),
        (12, 0),
        (14, 0),
    ]
    assert [str(remark) for remark in remarks] == [
        "bar 2, beat 3: 'F/H' stands among the chord symbols and is none; the chord before it holds on",
        "bar 4, beat 1: two chord symbols in one place, 'Am' and 'C'; the second one was used",
    ]


def test_a_bass_behind_the_slash_belongs_to_the_chord():
    """C over B flat, the bass no tone of the triad: it is given, so it is no passing note."""
    voices = [*PROGRESSION, [(0, 4, 46)]]
    score = marked((0, "C/Bb"), (4, "F"), (8, "G"), (12, "C"), voices=voices)
    harmony = find_harmony(score, hints=hints_from_markers(score)[0])
    assert harmony.pieces["role"][harmony.pieces["window"] == 0].tolist() == [0, 0, 0, 0]

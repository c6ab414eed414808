"""MusicXML, read back by music21."""

from __future__ import annotations

import warnings
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.errors import OptionError
from retune.parts import collect_sheets, write_sheets
from retune.score import read_score
from retune.tuning.fixed import table_per_chord
from tests.parts.build import HYMN, HYMN_CHORDS, chord_hints, score_of, sheets_of, stages

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from music21 import converter, expressions, stream


def read_back(score, sheets) -> stream.Score:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return converter.parseData(write_sheets(score, sheets, "musicxml").decode(), format="musicxml")


def notes_of(part: stream.Part) -> list[tuple[float, float, int]]:
    """(onset, length, key) of all notes; a note tied on grows by the note of its pitch that begins where it ends."""
    found: list[tuple[float, float, int]] = []
    tied: dict[int, tuple[float, float]] = {}
    for note in sorted(part.flatten().notes, key=lambda n: n.offset):
        for p in note.pitches:
            start, length = float(note.offset), float(note.quarterLength)
            tie = note.tie.type if note.tie else ""
            if tie in ("stop", "continue"):
                first, so_far = tied.pop(p.midi)
                assert first + so_far == start
                start, length = first, so_far + length
            if tie in ("start", "continue"):
                tied[p.midi] = (start, length)
            else:
                found.append((start, length, p.midi))
    assert not tied
    return sorted(found)


def expected(score, part: int) -> list[tuple[float, float, int]]:
    notes = score.notes[score.notes["part"] == part]
    start = score.clock.quarters(notes["onset_tick"])
    length = score.clock.quarters(notes["release_tick"]) - start
    return sorted(zip(start.tolist(), length.tolist(), notes["key"].tolist(), strict=True))


@pytest.mark.parametrize("name", ["evening_hymn", "string_trio", "close_harmony_tag"])
def test_an_independent_reader_finds_the_notes_of_the_score(name: str, samples: dict[str, bytes]) -> None:
    score, *rest = stages(read_score(samples[name]))
    sheets = collect_sheets(score, *rest)
    back = read_back(score, sheets)
    assert [p.partName for p in back.parts] == [sheet.name for sheet in sheets.sheets]
    for part, sheet in zip(back.parts, sheets.sheets, strict=True):
        assert notes_of(part) == expected(score, sheet.part)
        spelled = [
            p.nameWithOctave
            for n in part.flatten().notes
            if not n.tie or n.tie.type == "start"
            for p in n.pitches
        ]
        assert spelled == [n.pitch.ascii.replace("b", "-") for n in sheet.notes]


def test_cents_stand_at_the_notes_they_belong_to() -> None:
    score = score_of(HYMN)
    sheets = sheets_of(score, HYMN_CHORDS)
    for part, sheet in zip(read_back(score, sheets).parts, sheets.sheets, strict=True):
        texts = {}
        for words in part.flatten().getElementsByClass(expressions.TextExpression):
            if words.content[0] in "+−":
                texts[float(words.offset)] = words.content
        assert texts == {
            4.0 * (n.bar - 1): f"{n.whole_cents:+d}".replace("-", "−") for n in sheet.notes if n.marked
        }


def test_the_opening_says_what_the_numbers_mean() -> None:
    score = score_of(HYMN)
    text = write_sheets(score, sheets_of(score, HYMN_CHORDS), "musicxml").decode()
    assert text.count("Set the tuner to A = 440 Hz. A number is cents from the tuner's zero") == 4


def test_meter_key_and_words_are_kept() -> None:
    parts = {"Soprano": [(0.0, 1.5, 70, "la"), (1.5, 1.5, 69), (3.0, 3.0, 70)], "Bass": [(0.0, 6.0, 46)]}
    score = score_of(parts, meter=(6, 8), fifths="Bb")
    back = read_back(score, sheets_of(score))
    first = back.parts[0].measure(1)
    assert first.timeSignature.ratioString == "6/8"
    assert first.keySignature.sharps == -2
    assert [n.lyric for n in back.parts[0].flatten().notes] == ["la", None, None]
    assert [m.number for m in back.parts[0].getElementsByClass("Measure")] == [1, 2]


def test_syllables_of_a_word_belong_together() -> None:
    """MusicXML 4.0, element syllabic: single, begin, middle, end."""
    sung = ["Lan-", "tern", "E-", "ve-", "ning", "-", "still"]
    line = [(float(at), 1.0, 72, word) for at, word in enumerate(sung)]
    score = score_of({"Top": line, "Low": [(0.0, 8.0, 48)]})
    notes = list(read_back(score, sheets_of(score)).parts[0].flatten().notes)
    told = [(lyric.syllabic, lyric.text) for note in notes for lyric in note.lyrics]
    assert told == [
        ("begin", "Lan"), ("end", "tern"), ("begin", "E"), ("middle", "ve"), ("end", "ning"), ("single", "still"),
    ]  # fmt: skip


def test_no_number_is_printed_over_an_upbeat() -> None:
    score = score_of({"Top": [(0.0, 1.0, 67), (1.0, 4.0, 72)]}, meter=(1, 4), meter_from={1.0: (4, 4)})
    root = ET.fromstring(
        write_sheets(score, sheets_of(score), "musicxml").decode().partition("\n")[2].partition("\n")[2]
    )
    assert [bar.get("implicit") for bar in root.iter("measure")] == ["yes", None]


def test_a_move_of_a_held_note_is_written_at_a_tied_note() -> None:
    parts = {"Top": [(0.0, 8.0, 72)], "Mid": [(0.0, 8.0, 64)], "Low": [(0.0, 4.0, 48), (4.0, 4.0, 45)]}
    score, harmony, ratios, _ = stages(score_of(parts), chord_hints((0, "maj"), (9, "min")))
    sheets = collect_sheets(score, harmony, ratios, table_per_chord(score, harmony, ratios))
    top = read_back(score, sheets).parts[0].flatten()
    texts = [(float(t.offset), t.content) for t in top.getElementsByClass(expressions.TextExpression)][1:]
    assert texts == [(0.0, "0"), (4.0, "+16")]
    assert [n.tie.type for n in top.notes] == ["start", "stop"]


def test_names_that_xml_cannot_hold_are_made_plain() -> None:
    score = score_of({"<A & \x01>": HYMN["Soprano"], "Bass": [(0.0, 8.0, 48)]})
    back = read_back(score, sheets_of(score))
    assert back.parts[0].partName == "<A & >"


@st.composite
def music(draw: st.DrawFn) -> list[tuple[float, float, int]]:
    """Notes on sixteenths; no two of one key overlap, as in any file that can be paired."""
    raw = draw(
        st.lists(
            st.tuples(st.integers(0, 48), st.integers(1, 24), st.integers(40, 80)), min_size=1, max_size=14
        )
    )
    kept: list[tuple[int, int, int]] = []
    for start, length, key in raw:
        if all(key != k or start >= s + n or s >= start + length for s, n, k in kept):
            kept.append((start, length, key))
    return [(start / 4, length / 4, key) for start, length, key in sorted(kept)]


@settings(max_examples=15, deadline=None)
@given(music(), st.sampled_from([(4, 4), (3, 4), (6, 8), (5, 4), (2, 2), (7, 8)]))
def test_any_music_on_sixteenths_comes_back(
    notes: list[tuple[float, float, int]], meter: tuple[int, int]
) -> None:
    score = score_of({"One": notes}, meter=meter)
    back = read_back(score, sheets_of(score))
    assert notes_of(back.parts[0]) == expected(score, score.parts[0].index)


@settings(max_examples=25, deadline=None)
@given(music(), st.sampled_from([(4, 4), (3, 4), (7, 8)]))
def test_every_voice_fills_its_bars_exactly(
    notes: list[tuple[float, float, int]], meter: tuple[int, int]
) -> None:
    """MusicXML 4.0: durations between backups add up to the bar; a chord's further notes take no time."""
    score = score_of({"One": notes}, meter=meter)
    root = ET.fromstring(write_sheets(score, sheets_of(score), "musicxml"))
    bar = 24 * 4 * meter[0] // meter[1]
    measures = root.findall(".//measure")
    assert measures
    for measure in measures:
        at = 0
        for element in measure:
            duration = int(element.findtext("duration") or 0)
            if element.tag == "backup":
                assert at == bar
                at -= duration
            elif element.find("chord") is None:
                at += duration
        assert at == bar


def test_crowds_of_held_notes_are_refused_before_memory_runs_out() -> None:
    """A hundred notes over five thousand bars of 4/4 are half a million written notes."""
    score = score_of({"Choir": [(0.0, 20_000.0, key) for key in range(20, 120)]})
    with pytest.raises(OptionError, match="more than 400000 notes would have to be printed"):
        write_sheets(score, sheets_of(score), "musicxml")

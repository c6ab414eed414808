"""MusicXML 4.0: the parts as notation with the cents above the notes.

Written after the MusicXML 4.0 specification (W3C Music Notation Community Group, 2021): score-partwise,
elements of a note in the order the schema asks for. Timing is moved to a grid (`retune.parts.rhythm`).
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from retune.errors import OptionError
from retune.parts.names import signed
from retune.parts.rhythm import DIVISIONS, Measure, Value, measures, on_grid, voices, written
from retune.parts.wording import heading

if TYPE_CHECKING:
    from retune.parts.model import Sheet, SheetNote, Sheets
    from retune.score.model import Score

MOST_NOTES = 400_000  # a symphony; more take gigabytes
_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-partwise PUBLIC '
    '"-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">\n'
)
_TREBLE, _TENOR, _BASS = ("G", 2, 0), ("G", 2, -1), ("F", 4, 0)  # sign, line, octave change
_TREBLE_FROM, _TENOR_FROM = 60, 53  # middle key of a part from which a clef is used (judgement)


@dataclass(frozen=True, slots=True)
class _Event:
    """Notes struck and released together, on the grid."""

    start: int
    end: int
    notes: tuple[SheetNote, ...]
    voice: int = 0


def musicxml(score: Score, sheets: Sheets) -> str:
    """Return the sheets as one MusicXML score; marked notes carry their cents as text above the staff."""
    root = ET.Element("score-partwise", version="4.0")
    if sheets.title:
        ET.SubElement(ET.SubElement(root, "work"), "work-title").text = sheets.title
    _identification(root)
    part_list = ET.SubElement(root, "part-list")
    events = [_events(score, sheet) for sheet in sheets.sheets]
    end = max((event.end for part in events for event in part), default=1)
    bars = measures(score.meters, end)
    _refuse_too_many(events, bars)
    for index, sheet in enumerate(sheets.sheets, start=1):
        entry = ET.SubElement(part_list, "score-part", id=f"P{index}")
        ET.SubElement(entry, "part-name").text = sheet.name
    for index, (sheet, part_events) in enumerate(zip(sheets.sheets, events, strict=True), start=1):
        part = ET.SubElement(root, "part", id=f"P{index}")
        _write_part(part, score, sheets, sheet, part_events, bars)
    ET.indent(root)
    return _HEAD + ET.tostring(root, encoding="unicode") + "\n"


def _refuse_too_many(events: list[list[_Event]], bars: list[Measure]) -> None:
    """A note is written once in each bar that it sounds in."""
    edges = [bar.end for bar in bars]
    starts = [event.start for part in events for event in part]
    ends = [event.end - 1 for part in events for event in part]
    chords = [len(event.notes) for part in events for event in part]
    lengths = np.searchsorted(edges, ends, side="right") - np.searchsorted(edges, starts, side="right") + 1
    if int(lengths @ np.array(chords, dtype=np.int64)) > MOST_NOTES:
        raise OptionError(
            f"more than {MOST_NOTES} notes would have to be printed, each once in every bar that it is held in; "
            "take an HTML or CSV sheet"
        )


def _identification(root: ET.Element) -> None:
    encoding = ET.SubElement(ET.SubElement(root, "identification"), "encoding")
    ET.SubElement(encoding, "software").text = "retune"


def _events(score: Score, sheet: Sheet) -> list[_Event]:
    """Return the notes of a part as chords in voices."""
    index = np.array([note.note for note in sheet.notes], dtype=np.int64)
    ticks = np.concatenate([score.notes["onset_tick"][index], score.notes["release_tick"][index]])
    onset, release = np.split(on_grid(score.clock.quarters(ticks)), 2)
    release = np.maximum(release, onset + 3)  # at least a thirty-second note
    together: dict[tuple[int, int], list[SheetNote]] = {}
    for note, start, end in zip(sheet.notes, onset, release, strict=True):
        together.setdefault((int(start), int(end)), []).append(note)
    ordered = sorted(together.items(), key=lambda item: (item[0][0], -item[0][1]))
    voice = voices([start for (start, _), _ in ordered], [end for (_, end), _ in ordered])
    return [
        _Event(start, end, tuple(sorted(notes, key=lambda n: (n.pitch.octave, n.note))), number)
        for ((start, end), notes), number in zip(ordered, voice, strict=True)
    ]


def _write_part(
    part: ET.Element, score: Score, sheets: Sheets, sheet: Sheet, events: list[_Event], bars: list[Measure]
) -> None:
    by_bar: dict[int, dict[int, list[_Event]]] = {}
    edges = [bar.end for bar in bars]
    for event in events:
        first, last = np.searchsorted(edges, [event.start, event.end - 1], side="right")
        for index in range(first, last + 1):
            by_bar.setdefault(index, {}).setdefault(event.voice, []).append(event)
    words = _syllables(sheet)
    for index, bar in enumerate(bars):
        measure = ET.SubElement(part, "measure", number=str(bar.number))
        if index == 0:
            if sheets.has_upbeat:
                measure.set("implicit", "yes")  # programs print no number over an upbeat
            _opening(measure, score, sheets, sheet, bar)
        elif bar.meter is not None:
            _time(ET.SubElement(measure, "attributes"), bar.meter)
        in_bar = by_bar.get(index, {})
        for voice in sorted({0, *in_bar}):
            if voice:
                backup = ET.SubElement(measure, "backup")
                ET.SubElement(backup, "duration").text = str(bar.end - bar.start)
            _write_voice(measure, score, in_bar.get(voice, []), bar, voice, words)


def _opening(measure: ET.Element, score: Score, sheets: Sheets, sheet: Sheet, bar: Measure) -> None:
    """Write divisions, key, meter, clef, and what the numbers mean."""
    attributes = ET.SubElement(measure, "attributes")
    ET.SubElement(attributes, "divisions").text = str(DIVISIONS)
    ET.SubElement(ET.SubElement(attributes, "key"), "fifths").text = str(sheets.fifths)
    _time(attributes, bar.meter or (4, 4))
    sign, line, octaves = _clef(score, sheet)
    clef = ET.SubElement(attributes, "clef")
    ET.SubElement(clef, "sign").text = sign
    ET.SubElement(clef, "line").text = str(line)
    if octaves:
        ET.SubElement(clef, "clef-octave-change").text = str(octaves)
    _words(measure, f"{heading(sheets)[0]} {heading(sheets)[1]}", voice=0, bold=False)


def _time(attributes: ET.Element, meter: tuple[int, int]) -> None:
    time = ET.SubElement(attributes, "time")
    ET.SubElement(time, "beats").text = str(meter[0])
    ET.SubElement(time, "beat-type").text = str(meter[1])


def _clef(score: Score, sheet: Sheet) -> tuple[str, int, int]:
    keys = score.notes["key"][[note.note for note in sheet.notes]]
    middle = float(np.median(keys))
    if middle >= _TREBLE_FROM:
        return _TREBLE
    return _TENOR if middle >= _TENOR_FROM and "tenor" in sheet.name.casefold() else _BASS


def _words(measure: ET.Element, text: str, *, voice: int, bold: bool) -> None:
    direction = ET.SubElement(measure, "direction", placement="above")
    weight = "bold" if bold else "normal"
    words = ET.SubElement(ET.SubElement(direction, "direction-type"), "words")
    words.attrib |= {"font-size": "9", "font-weight": weight}
    words.text = text
    ET.SubElement(direction, "voice").text = str(voice + 1)


def _write_voice(
    measure: ET.Element,
    score: Score,
    events: list[_Event],
    bar: Measure,
    voice: int,
    words: dict[int, tuple[str, str]],
) -> None:
    """Write one voice of one bar: notes, and rests (first voice) or gaps (others) between them."""
    at = bar.start
    for event in events:
        start, end = max(event.start, bar.start), min(event.end, bar.end)
        _write_gap(measure, at, start, bar, voice)
        moves = _moves_on_grid(score, event)
        for position, value in written(start, end, bar, moves):
            _write_cents(measure, event, position, moves, voice)
            for index, note in enumerate(event.notes):
                _write_note(measure, note, event, position, value, voice, words, in_chord=index > 0)
        at = end
    _write_gap(measure, at, bar.end, bar, voice)


def _write_gap(measure: ET.Element, start: int, end: int, bar: Measure, voice: int) -> None:
    if start >= end:
        return
    if voice:
        forward = ET.SubElement(measure, "forward")
        ET.SubElement(forward, "duration").text = str(end - start)
        ET.SubElement(forward, "voice").text = str(voice + 1)
        return
    if (start, end) == (bar.start, bar.end):
        note = ET.SubElement(measure, "note")
        ET.SubElement(note, "rest", measure="yes")
        ET.SubElement(note, "duration").text = str(end - start)
        ET.SubElement(note, "voice").text = "1"
        return
    for _, value in written(start, end, bar):
        note = ET.SubElement(measure, "note")
        ET.SubElement(note, "rest")
        ET.SubElement(note, "duration").text = str(value.divisions)
        ET.SubElement(note, "voice").text = "1"
        _write_value(note, value)


def _moves_on_grid(score: Score, event: _Event) -> dict[int, list[tuple[SheetNote, int]]]:
    """Return where held notes of an event move, and to what [whole cents]."""
    found: dict[int, list[tuple[SheetNote, int]]] = {}
    for note in event.notes:
        for move in note.moves:
            position = int(on_grid(score.clock.quarters(np.array([move.tick])))[0])
            if event.start < position < event.end:
                found.setdefault(position, []).append((note, move.to_cents))
    return found


def _write_cents(
    measure: ET.Element,
    event: _Event,
    position: int,
    moves: dict[int, list[tuple[SheetNote, int]]],
    voice: int,
) -> None:
    """Write the cents that hold from this position, if they are to be marked."""
    if position == event.start:
        told = [(note, note.whole_cents) for note in event.notes if note.marked or note.moves]
    else:
        told = moves.get(position, [])
    if not told:
        return
    named = len(event.notes) > 1
    text = ", ".join(f"{note.pitch} {signed(cents)}" if named else signed(cents) for note, cents in told)
    _words(measure, text, voice=voice, bold=True)


def _write_note(
    measure: ET.Element,
    note: SheetNote,
    event: _Event,
    position: int,
    value: Value,
    voice: int,
    words: dict[int, tuple[str, str]],
    *,
    in_chord: bool,
) -> None:
    element = ET.SubElement(measure, "note")
    if in_chord:
        ET.SubElement(element, "chord")
    pitch = ET.SubElement(element, "pitch")
    ET.SubElement(pitch, "step").text = note.pitch.letter
    if note.pitch.alter:
        ET.SubElement(pitch, "alter").text = str(note.pitch.alter)
    ET.SubElement(pitch, "octave").text = str(note.pitch.octave)
    ET.SubElement(element, "duration").text = str(value.divisions)
    ties = [kind for kind, tied in _ties(event, position, value) if tied]
    for kind in ties:
        ET.SubElement(element, "tie", type=kind)
    ET.SubElement(element, "voice").text = str(voice + 1)
    _write_value(element, value)
    if ties:
        notations = ET.SubElement(element, "notations")
        for kind in ties:
            ET.SubElement(notations, "tied", type=kind)
    if note.note in words and position == event.start:
        lyric = ET.SubElement(element, "lyric", number="1")
        syllabic, text = words[note.note]
        ET.SubElement(lyric, "syllabic").text = syllabic
        ET.SubElement(lyric, "text").text = text


def _syllables(sheet: Sheet) -> dict[int, tuple[str, str]]:
    """Return the place in its word and the text of every syllable, by note: a hyphen says that the word goes on."""
    found: dict[int, tuple[str, str]] = {}
    inside = False
    for note in sheet.notes:
        text = note.word.strip("-")
        if not text:
            continue
        inside = inside or note.word.startswith("-")
        goes_on = note.word.endswith("-")
        place = {
            (False, False): "single",
            (False, True): "begin",
            (True, True): "middle",
            (True, False): "end",
        }
        found[note.note] = place[inside, goes_on], text
        inside = goes_on
    return found


def _ties(event: _Event, position: int, value: Value) -> tuple[tuple[str, bool], tuple[str, bool]]:
    return ("stop", position > event.start), ("start", position + value.divisions < event.end)


def _write_value(note: ET.Element, value: Value) -> None:
    ET.SubElement(note, "type").text = value.type
    for _ in range(value.dots):
        ET.SubElement(note, "dot")
    if value.triplet:
        ratio = ET.SubElement(note, "time-modification")
        ET.SubElement(ratio, "actual-notes").text = "3"
        ET.SubElement(ratio, "normal-notes").text = "2"

"""One file for each part."""

from __future__ import annotations

import io

import mido

from retune.encode import per_part
from retune.options import Options
from retune.score import read_score
from tests.encode.build import in_order, note, score_of, tuning_of
from tests.encode.receiver import Receiver, hear


def score():
    return score_of(
        [
            [
                (0, "meta track_name name=conductor"),
                (0, "meta set_tempo tempo=600000"),
                (0, "meta time_signature numerator=3 denominator=4"),
                (0, "sysex 7F 7F 04 01 00 7F"),
                (960, "meta marker text=B"),
                (960, "meta set_tempo tempo=500000"),
            ],
            [
                (0, "meta track_name name=flute"),
                (0, "program_change channel=3 program=73"),
                *in_order(note(0, 480, 72, 3), note(960, 1440, 74, 3)),
                (1440, "meta lyrics text=la"),
            ],
            [
                (0, "meta track_name name=strings"),
                (0, "program_change channel=4 program=48"),
                *in_order(note(0, 960, 60, 4), note(0, 960, 64, 4)),
            ],
            [(0, "meta track_name name=drums"), *note(0, 100, 36, 9)],
        ]
    )


def test_each_file_has_one_part_and_the_conductor():
    whole = score()
    files = per_part(whole, tuning_of(whole, [1.0, 2.0, -13.7, 5.0]), Options()).files
    assert [f.suffix for f in files] == ["-01-flute", "-02-strings", "-03-drums"]
    heard = [hear(f.data) for f in files]
    assert [[h.key for h in part] for part in heard] == [[72, 74], [60, 64], [36]]
    for file in files:
        kept = [(t, m.type) for t, _, m in Receiver(file.data).kept]
        for event in [
            (0, "set_tempo"),
            (0, "time_signature"),
            (960, "marker"),
            (960, "set_tempo"),
            (0, "sysex"),
        ]:
            assert event in kept
        assert [t.name for t in read_score(file.data).tracks] == ["conductor", "flute", "strings", "drums"]
    assert (heard[0][0].state.program[2], heard[1][0].state.program[2]) == (73, 48)


def test_the_files_are_tuned_as_the_whole_would_be():
    whole = score()
    files = per_part(whole, tuning_of(whole, [1.0, 2.0, -13.7, 5.0]), Options()).files
    cents = {h.key: h.curve[0][1] for f in files for h in hear(f.data)}
    assert abs(cents[36]) == 0.0
    rows = tuning_of(whole, [1.0, 2.0, -13.7, 5.0]).offsets
    for row in rows:
        key = int(whole.notes["key"][row["note"]])
        assert abs(cents[key] - row["offset_cents"]) <= 0.0123


def test_a_file_of_one_track_is_split_by_channel():
    whole = score_of(
        [in_order(note(0, 480, 60, 0), note(0, 480, 64, 1), [(0, "program_change channel=1 program=9")])],
        kind=0,
    )
    files = per_part(whole, tuning_of(whole, [5.0, -5.0]), Options()).files
    assert len(files) == 2
    for file, key in zip(files, (60, 64), strict=True):
        parsed = mido.MidiFile(file=io.BytesIO(file.data))
        assert (parsed.type, len(parsed.tracks)) == (0, 1)
        assert [h.key for h in hear(file.data)] == [key]

"""Reading the tuning messages of the input, and what they do to notes. Pages: MIDI Tuning Updated Specification."""

from __future__ import annotations

import pytest

from retune.encode.plain.own_tables import absorbed, read_change
from retune.errors import InputError
from retune.options import Options
from retune.pipeline import convert
from tests.encode.build import Event, file_of, in_order, note, score_of, tuning_of

TABLE_NAME = "20" * 16
EVEN = [(key, 0, 0) for key in range(128)]


def data(text: str) -> tuple[int, ...]:
    return tuple(bytes.fromhex(text))


def dump(rows: list[tuple[int, int, int]]) -> str:
    return "".join(f"{byte:02X}" for row in rows for byte in row)


@pytest.mark.parametrize(
    ("text", "cents", "at_once", "program"),
    [
        ("7F7F0802 00 01 40 3F6E3E", {64: -13.6863}, True, (0, 0)),  # p. 2: key 40 hex to a pure E4
        ("7F7F0802 05 02 45 454000 46 7F7F7F", {69: 50.0}, True, (0, 5)),  # p. 1: 7F 7F 7F is no change
        ("7F7F0807 01 05 01 45 454000", {69: 50.0}, True, (1, 5)),  # p. 4
        ("7E7F0807 01 05 01 45 454000", {69: 50.0}, False, (1, 5)),
        (f"7E7F0801 03 {TABLE_NAME} {dump(EVEN)} 00", dict.fromkeys(range(128), 0.0), False, (0, 3)),
        (f"7E7F0804 02 03 {TABLE_NAME} {dump(EVEN)} 00", dict.fromkeys(range(128), 0.0), False, (2, 3)),
        (
            f"7E7F0805 02 03 {TABLE_NAME} {'40' * 11}50 00",
            {k: 16.0 * (k % 12 == 11) for k in range(128)},
            False,
            (2, 3),
        ),
        (
            f"7E7F0806 02 03 {TABLE_NAME} {'4000' * 11}4A01 00",
            {k: 15.637 * (k % 12 == 11) for k in range(128)},
            False,
            (2, 3),
        ),
    ],
)
def test_changes_of_keys(text, cents, at_once, program):
    change = read_change(data(text))
    assert change.cents == pytest.approx(cents, abs=0.004)
    assert (change.at_once, change.program, change.channels) == (at_once, program, None)


@pytest.mark.parametrize(
    ("bitmap", "channels"),
    [("000001", {0}), ("000040", {6}), ("000100", {7}), ("010000", {14}), ("037F7E", set(range(1, 16)))],
)
def test_changes_of_octaves(bitmap, channels):
    """Pp. 7-8: bitmaps, one byte a cent, two bytes 8192 steps to 100 cents."""
    change = read_change(data(f"7F7F0808 {bitmap} 32 {'40' * 11}"))
    assert (change.channels, change.cents[0], change.cents[1]) == (channels, -14.0, 0.0)
    change = read_change(data(f"7E7F0809 {bitmap} 371F {'4000' * 11}"))
    assert change.cents[0] == pytest.approx(-13.684, abs=0.001)
    assert not change.at_once


@pytest.mark.parametrize(
    "text",
    [
        "7E7F0901",  # GM on
        "7F7F0802 00 02 40 3F6E3E",  # cut short
        f"7E7F0801 03 {TABLE_NAME} 00",
        "7F7F0808 000001 40",
        "7E7F0802 00 01 40 3F6E3E",  # p. 2: exists in real time only
        f"7F7F0801 03 {TABLE_NAME} {dump(EVEN)} 00",  # a dump is never in real time
        "43100802 00 01 40 3F6E3E",
    ],
)
def test_no_changes(text):
    assert read_change(data(text)) is None


def courses(events: list[Event], offsets: list[float], **how: bool) -> list[list[tuple[int, float]]]:
    score = score_of([sorted(events, key=lambda e: e[0])])
    plain, tuning = absorbed(score, tuning_of(score, offsets), **how)
    assert [str(m) for m in plain.tracks[0].messages if m.type == "note_on"] == [
        str(m) for m in score.tracks[0].messages if m.type == "note_on"
    ]
    found: list[list[tuple[int, float]]] = [[] for _ in range(len(score.notes))]
    for row in tuning.offsets:
        found[row["note"]].append((int(row["start_tick"]), round(float(row["offset_cents"]), 3)))
    return found


UP_16 = "40" * 4 + "50" + "40" * 7  # every E


def test_a_real_time_change_moves_what_sounds_and_another_what_comes():
    line = in_order(note(0, 480, 64), note(480, 960, 64))
    assert courses([*line, (240, f"sysex 7F7F0808000001 {UP_16}")], [1.0, 1.0]) == [
        [(0, 1.0), (240, 17.0)],
        [(480, 17.0)],
    ]
    assert courses([*line, (240, f"sysex 7E7F0808000001 {UP_16}")], [1.0, 1.0]) == [[(0, 1.0)], [(480, 17.0)]]


def test_a_program_holds_for_the_channels_that_chose_it():
    choose = [(0, f"control_change channel=1 control={c} value={v}") for c, v in ((101, 0), (100, 3), (6, 5))]
    both = in_order(note(10, 480, 69, 0), note(10, 480, 69, 1))
    change = (5, "sysex 7F 7F 08 02 05 01 45 45 40 00")
    assert courses([*choose, *both, change], [0.0, 0.0]) == [[(10, 0.0)], [(10, 50.0)]]
    assert courses([*choose, *both, change], [0.0, 0.0], keys=False) == [[(10, 0.0)], [(10, 0.0)]]


def test_keys_and_octaves_add_and_the_messages_are_gone():
    events = [
        (0, "sysex 7F 7F 08 02 00 01 40 40 20 00"),
        (0, f"sysex 7F7F0808000001 {UP_16}"),
        *note(1, 9, 64),
    ]
    score = score_of([events])
    plain, tuning = absorbed(score, tuning_of(score, [-13.6863]))
    assert tuning.offsets["offset_cents"].tolist() == pytest.approx([25.0 + 16.0 - 13.6863])
    assert [m.type for m in plain.tracks[0].messages] == ["note_on", "note_off"]


def test_a_score_without_tables_is_left_alone():
    score = score_of([[(0, "sysex 7E 7F 09 01"), *note(1, 9, 64)]])
    tuning = tuning_of(score, [1.0])
    assert absorbed(score, tuning) == (score, tuning)


def test_tables_that_move_a_crowd_again_and_again_are_refused():
    """Two thousand notes of one key, moved six hundred times."""
    crowd = [(0, "note_on channel=0 note=60 velocity=80")] * 2000
    moves = [(k, f"sysex 7F 7F 08 02 00 01 3C 3C {k % 2:02X} 00") for k in range(1, 601)]
    with pytest.raises(InputError, match="tuning tables have moved sounding notes more than 1000000 times"):
        convert(file_of([[*crowd, *moves]]), Options())

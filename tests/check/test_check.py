"""The check of a retuned file against its original: real music retuned with mido alone, then spoiled."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from dataclasses import dataclass

import mido
import numpy as np
import pytest

from retune.check import CheckReport, check
from retune.score import Score, read_score
from retune.tuning.model import OFFSET_DTYPE, Tuning
from tests.check.build import smf
from tests.check.music import bent, chorale, edited, real_file

CHORALE = "bach/bwv66.6"
NARROW_FIFTH = 300 * math.log2(5)  # quarter-comma meantone (Aron 1523): four of them make 5/4 and two octaves
FIFTHS = [
    "G",
    "D",
    "A",
    "E",
    "B",
    "F♯",
    "C♯",
    "G♯",
    "D♯",
    "A♯",
    "E♯",
    "B♯",
]  # the notes of the piece; A stays
MEANTONE = np.zeros(12)
for _k, _name in enumerate(FIFTHS):
    MEANTONE[(7 + 7 * _k) % 12] = (_k - FIFTHS.index("A")) * (NARROW_FIFTH - 700)


def meantone(_: int, key: int) -> float:
    return float(MEANTONE[key % 12])


def tuning_of(score: Score, cents: Callable[[int, int], float] = meantone) -> Tuning:
    notes = score.notes
    rows = np.zeros(len(notes), dtype=OFFSET_DTYPE)
    rows["note"] = np.arange(len(notes))
    rows["start_tick"], rows["end_tick"] = notes["onset_tick"], notes["sounding_end_tick"]
    rows["offset_cents"] = [
        cents(tick, key)
        for tick, key in zip(notes["onset_tick"].tolist(), notes["key"].tolist(), strict=True)
    ]
    return Tuning(offsets=rows, displacement_cents=np.zeros(0))


@pytest.fixture(scope="module")
def retuned() -> bytes:
    return bent(real_file(CHORALE), meantone)


def spoiled(data: bytes, wanted: Callable[[mido.Message], bool], **changes: int) -> bytes:
    """The file with the 10th message of a sort changed; without changes it is left out."""
    seen = 0

    def change(_: int, track: mido.MidiTrack) -> list[mido.Message]:
        nonlocal seen
        kept = []
        for message in track:
            hit = wanted(message)
            seen += hit
            if hit and seen == 10:
                if not changes:
                    continue
                message = message.copy(**{k: v(message) if callable(v) else v for k, v in changes.items()})
            kept.append(message)
        return sorted(kept, key=lambda message: message.time)

    return edited(data, change)


def test_faithful_file_in_meantone(retuned: bytes) -> None:
    report = check(chorale(), retuned, intended=tuning_of(chorale()))
    assert report.ok
    assert report.problems == report.remarks == ()
    assert report.fidelity.notes == len(chorale().notes)
    assert set(report.fidelity.as_dict().values()) <= {0, report.fidelity.notes, report.fidelity.events}
    assert 0 < report.error.worst_cents <= 0.0123  # half a step of range 2
    assert report.channels == 4
    assert report.after.mean_deviation_cents < report.before.mean_deviation_cents
    # Fifths are 5.38 cents narrow, minor thirds as well, major thirds pure.
    assert report.after.deviation_p95_cents == pytest.approx(5.38, abs=0.05)


def test_bytes_and_score_give_the_same_report(retuned: bytes) -> None:
    tuning = tuning_of(chorale())
    by_bytes = check(real_file(CHORALE), retuned, intended=(chorale(), tuning))
    assert by_bytes.as_json() == check(chorale(), [retuned], intended=tuning).as_json()


def test_original_against_itself() -> None:
    report = check(real_file(CHORALE), real_file(CHORALE))
    assert report.ok
    assert report.error is None
    assert report.before == report.after
    assert report.worst_bars[0].after_cents == report.worst_bars[0].before_cents > 0


def test_the_five_bars_furthest_from_pure_are_told() -> None:
    """A fifth a bar, its upper note bent up by some steps of 200/8192 cents: a fifth is pure with 80 of them."""
    steps = (400, 180, 700, 300, 600, 200, 500)
    events = ""
    for bend in steps:
        low, high = (8192 + bend) & 127, (8192 + bend) >> 7
        events += (
            f"00 E1 {low:02X} {high:02X} 00 90 3C 40 00 91 43 40 8F 00 80 3C 40 00 81 43 40 "  # 1920 ticks
        )
    plain = smf(events)
    told = [(bar.bar, bar.after_cents) for bar in check(plain, plain).worst_bars]
    assert [bar for bar, _ in told] == [3, 5, 7, 1, 4]
    expected = [200 / 8192 * steps[bar - 1] - 1.955 for bar, _ in told]
    assert [cents for _, cents in told] == pytest.approx(expected, abs=1e-3)


def is_note_on(message: mido.Message) -> bool:
    return message.type == "note_on" and message.velocity > 0


def is_note_off(message: mido.Message) -> bool:
    return message.type == "note_off" or (message.type == "note_on" and message.velocity == 0)


def is_low_bend(message: mido.Message) -> bool:
    return message.type == "pitchwheel" and -800 < message.pitch < -400


@pytest.mark.parametrize(
    ("wanted", "changes", "counts", "message"),
    [
        (is_note_on, {}, {"notes_lost": 1}, r"1 note is missing; first \S+ in .* at bar \d+, beat"),
        (is_note_on, {"velocity": 1}, {"velocities_changed": 1}, r"90 became 1"),
        (
            is_note_on,
            {"time": lambda m: m.time + 1},
            {"notes_lost": 1, "notes_added": 1},
            "not in the original",
        ),
        (is_note_off, {"time": lambda m: m.time - 1}, {"releases_moved": 1}, "1 release is at another tick"),
        (is_low_bend, {"pitch": 0}, {}, r"sounds 1\d\.\d+ cents from the tuning"),
        (is_low_bend, {"pitch": lambda m: m.pitch + 30}, {}, r"0\.7\d cents"),
    ],
)
def test_one_spoiled_message_is_found(
    retuned: bytes,
    wanted: Callable[[mido.Message], bool],
    changes: dict[str, int],
    counts: dict[str, int],
    message: str,
) -> None:
    report = check(chorale(), spoiled(retuned, wanted, **changes), intended=tuning_of(chorale()))
    assert not report.ok
    found = report.fidelity.as_dict()
    assert {name: found[name] for name in counts} == counts
    assert len(report.problems) == len(counts) or not counts
    assert any(re.search(message, problem) for problem in report.problems)


RICH = (
    "00 FF 03 04 6C656164 00 FF 51 03 07A120 00 FF 58 04 03021808 00 F0 05 7E 7F 09 01 F7 00 C0 18 00 B0 07 64 "
    "00 B0 40 7F 00 90 3C 40 10 FF 01 03 616263 10 D0 20 10 A0 3C 30 10 80 3C 21 20 B0 40 00 00 B0 63 01 "
    "00 62 08 00 06 40 00 90 3E 40 10 FF 7F 03 7D0102 50 80 3E 40"
)


@pytest.mark.parametrize(
    ("old", "new", "counts"),
    [
        ("FF 03 04 6C656164", "FF 03 04 6C656165", {"names_lost": 1}),
        ("FF 51 03 07A120", "FF 51 03 07A121", {"events_lost": 1, "events_added": 1}),
        ("FF 58 04 03021808", "FF 58 04 04021808", {"events_lost": 1, "events_added": 1}),
        ("C0 18", "C0 19", {"programs_changed": 2, "events_lost": 1, "events_added": 1}),
        ("B0 07 64", "B0 07 63", {"events_lost": 1, "events_added": 1, "controllers_changed": 2}),
        ("09 01 F7", "09 03 F7", {"events_lost": 1, "events_added": 1}),
        ("616263", "616264", {"events_lost": 1, "events_added": 1}),
        ("D0 20", "D0 21", {"events_lost": 1, "events_added": 1}),
        ("A0 3C 30", "A0 3C 31", {"events_lost": 1, "events_added": 1}),
        ("80 3C 21", "80 3C 22", {"release_velocities_changed": 1}),
        ("06 40", "06 41", {"events_lost": 1}),
        ("FF 7F 03 7D0102", "FF 7F 03 7D0103", {"events_lost": 1, "events_added": 1}),
        ("50 80 3E 40", "50 80 3E 40 00 90 43 40 00 80 43 40", {"notes_added": 1}),
        ("90 3E 40 10 FF 7F 03 7D0102 50 80", "91 3E 40 10 FF 7F 03 7D0102 50 81", {"programs_changed": 1}),
    ],
)
def test_each_kind_of_event_is_watched(old: str, new: str, counts: dict[str, int]) -> None:
    assert check(smf(RICH), smf(RICH)).ok
    assert RICH.count(old) == 1
    report = check(smf(RICH), smf(RICH.replace(old, new)))
    changed = {k: v for k, v in report.fidelity.as_dict().items() if v and k not in ("notes", "events")}
    assert changed == counts
    assert len(report.problems) == len(changed)


def test_events_may_stand_on_any_channel_of_their_track_and_tuning_may_be_added() -> None:
    """Spreading a part over channels copies its controllers; bends, ranges and tables carry tuning."""
    spread = (
        "00 C0 05 00 C1 05 00 B0 07 64 00 B1 07 64 00 B1 65 00 00 64 00 00 06 02 00 26 00 00 E1 4F 3B "
        "00 90 3C 40 00 91 40 40 60 80 3C 40 00 81 40 40"
    )
    assert check(smf("00 C0 05 00 B0 07 64 00 90 3C 40 00 90 40 40 60 80 3C 40 00 80 40 40"), smf(spread)).ok


def test_bends_of_the_original_are_added_to() -> None:
    """A bend of +50 cents half-way through the note stays, on top of a retuning of −13.7 cents."""
    original = smf("00 90 40 40 30 E0 00 50 30 80 40 40")
    score = read_score(original)
    tuning = tuning_of(score, lambda *_: -13.6963)
    added = smf("00 E0 4F 3B 00 90 40 40 30 E0 4F 4B 30 80 40 40")
    assert check(score, added, intended=tuning).error.worst_cents == pytest.approx(0.0, abs=1e-4)
    replaced = check(score, smf("00 E0 4F 3B 00 90 40 40 60 80 40 40"), intended=tuning)
    assert replaced.error.worst_cents == pytest.approx(50.0, abs=1e-3)
    assert not replaced.ok
    assert replaced.error.worst_tick == 0x30


def test_mean_error_is_weighted_by_time() -> None:
    """A quarter 10 cents off, then three quarters right, in one note; and a second note of four quarters, right."""
    score = read_score(smf("00 90 40 40 8F 00 80 40 40 00 90 43 40 8F 00 80 43 40"))
    played = smf("00 E0 00 43 00 90 40 40 83 60 E0 00 40 8B 20 80 40 40 00 90 43 40 8F 00 80 43 40")
    error = check(score, played, intended=tuning_of(score, lambda *_: 0.0)).error
    off = 384 * 200 / 8192  # 00 43 is 384 steps up
    assert error.worst_cents == pytest.approx(off)
    assert error.mean_cents == pytest.approx(off * 480 / 3840)
    assert (error.worst_note, error.worst_tick) == (0, 0)


def test_note_without_a_note_off_may_get_one() -> None:
    """A written file may close what the original leaves open, with the velocity 64 of a plain release."""
    assert check(smf("00 90 40 40 60 FF 01 01 78"), smf("00 90 40 40 60 FF 01 01 78 00 80 40 40")).ok


def test_percussion_is_to_stay_untouched() -> None:
    original = smf("00 99 24 40 60 89 24 40")
    nothing = Tuning(offsets=np.zeros(0, dtype=OFFSET_DTYPE), displacement_cents=np.zeros(0))
    assert check(original, original, intended=nothing).ok
    assert not check(original, smf("00 E9 00 42 00 99 24 40 60 89 24 40"), intended=nothing).ok


def test_tail_under_the_pedal_that_moves_is_a_remark() -> None:
    original = smf("00 B0 40 7F 00 90 40 40 30 80 40 40 30 B0 40 00")
    score = read_score(original)
    dragged = smf("00 B0 40 7F 00 90 40 40 30 80 40 40 10 E0 00 50 20 B0 40 00")
    report = check(score, dragged, intended=tuning_of(score, lambda *_: 0.0))
    assert report.ok
    assert [remark.code for remark in report.remarks] == ["tails-move"]
    shorter = smf("00 B0 40 7F 00 90 40 40 30 80 40 40 10 B0 40 00 20 B0 40 00")
    assert [remark.code for remark in check(score, shorter).remarks] == ["ring"]


def test_equal_notes_of_two_parts_are_told_apart_by_their_pitch() -> None:
    """Two unison notes on two channels of one track, one retuned: which is which follows from the pitch."""
    original = smf("00 90 40 40 00 91 40 40 60 80 40 40 00 81 40 40")
    score = read_score(original)
    rows = np.array([(0, 0, 96, 25.0), (1, 0, 96, 0.0)], dtype=OFFSET_DTYPE)
    tuning = Tuning(offsets=rows, displacement_cents=np.zeros(0))
    crossed = smf("00 E1 00 48 00 90 40 40 00 91 40 40 60 80 40 40 00 81 40 40")
    assert check(score, crossed, intended=tuning).ok


def test_announced_error_is_allowed_and_no_more() -> None:
    @dataclass
    class File:
        data: bytes

    @dataclass
    class Written:
        files: list[File]
        worst_error_cents: float

    score = read_score(smf("00 90 40 40 60 80 40 40"))
    written = [File(smf("00 E0 00 48 00 90 40 40 60 80 40 40"))]  # 25 cents up
    tuning = tuning_of(score, lambda *_: 0.0)
    assert check(score, Written(written, 25.0), intended=tuning).ok
    assert not check(score, Written(written, 24.9), intended=tuning).ok
    assert check(score, Written(written, 0.0), intended=tuning, allowed_error_cents=30.0).ok


def test_several_files_are_heard_together() -> None:
    both = smf("00 90 40 40 00 91 43 40 60 80 40 40 00 81 43 40")
    one, other = smf("00 90 40 40 60 80 40 40"), smf("00 91 43 40 60 81 43 40")
    assert check(both, [one, other]).ok
    assert not check(both, [one]).ok


PIANO = "00 FF 03 05 7069616E6F "
FURTHER_PORT = "00 FF 03 05 7069616E6F 00 FF 21 01 01 "


def test_part_may_go_on_in_an_added_track_of_its_name() -> None:
    """Two staves of one name, the second one's last note on a further port: which staff it was is not told."""
    left, right = PIANO + "00 90 30 40 60 80 30 40 ", PIANO + "00 91 40 40 60 81 40 40 "
    moved = "00 91 43 40 60 81 43 40 "
    original = smf(left, right + moved)
    added = FURTHER_PORT + "60 90 43 40 60 80 43 40 "
    assert check(original, smf(left, right, added)).problems == ()
    report = check(original, smf(left, right, added.replace("7069616E6F", "7069616E70")))
    assert report.fidelity.tracks_changed == 1
    swapped = check(original, smf(left + "00 91 43 40 60 81 43 40 ", right))
    assert swapped.fidelity.tracks_changed == 1


def test_file_that_needs_mending_fails_as_own_output_only() -> None:
    sound = smf("00 90 40 40 60 80 40 40")
    broken = sound[:-4]  # no end of track, and a length that is too long
    score = read_score(sound)
    assert check(score, broken).ok
    report = check(score, broken, intended=tuning_of(score, lambda *_: 0.0))
    assert [problem.split(":")[0] for problem in report.problems] == ["the file needs mending"] * len(
        report.problems
    )
    assert report.problems


def test_other_resolution_is_scaled() -> None:
    """A clip or a file of 960 ticks per quarter says the same as one of 480."""
    assert check(smf("00 90 40 40 60 80 40 40"), smf("00 90 40 40 81 40 80 40 40", division=960)).ok


def test_report_as_json(retuned: bytes) -> None:
    report: CheckReport = check(chorale(), retuned, intended=tuning_of(chorale()))
    values = json.loads(json.dumps(report.as_json()))
    assert values["format"] == 1
    assert values["ok"] is True
    names = {
        "mean_deviation_cents",
        "share_within_1_cent",
        "deviation_p95_cents",
        "held_movement_max_cents",
        "held_movement_p99_cents",
        "repeat_shift_p95_cents",
        "displacement_max_cents",
        "displacement_end_cents",
    }
    assert set(values["before"]) == set(values["after"]) == names
    assert values["fidelity"]["notes"] == len(chorale().notes)
    assert values["error"]["worst_cents"] == report.worst_error_cents

"""Note events to notes.

MIDI 1.0 Detailed Specification 4.2.1: p. 10 and A-1 (velocity 0 is a release), A-4 (equal notes at once), pp. 20
and 24 (All Notes Off).
"""

from __future__ import annotations

from collections import deque

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.score import NOTE_DTYPE, read_score
from retune.score.columns import EVENT_DTYPE
from retune.score.pairing import pair
from tests.score.build import codes, events, notes, smf, write


def test_running_status_of_the_standard() -> None:
    """A-1: `90 3C 27 3C 00 3E 29` is C on, C off, D on."""
    score = read_score(smf("00 90 3C 27  10 3C 00  10 3E 29"))
    assert notes(smf("00 90 3C 27  10 3C 00  10 3E 29")) == [(0, 16, 60), (32, 32, 62)]
    assert score.notes["velocity"].tolist() == [39, 41]


def test_equal_notes_end_first_in_first_out() -> None:
    """on, on, off, off: 0-96 and 48-192, not 0-192 around 48-96."""
    assert notes(smf("00 90 3C 40  30 90 3C 50  30 80 3C 40  60 80 3C 40")) == [(0, 96, 60), (48, 192, 60)]


def test_missing_release_of_equal_notes() -> None:
    """on, on, off: the release ends both, as in most receivers (common practice, no source)."""
    data = smf("00 90 3C 40  30 90 3C 50  30 80 3C 40  60 B0 07 64")
    assert notes(data) == [(0, 96, 60), (48, 96, 60)]
    assert codes(data) == ["unreleased"]


def test_missing_releases_are_put_in() -> None:
    """So nothing written from the score leaves a note hanging: a release next to the one that ends the note."""
    score = read_score(smf("00 90 3C 40  30 90 3C 50  30 80 3C 40  60 90 40 40  10 B0 07 64"))
    assert [(m.type, t) for m, t in zip(score.tracks[0].messages, score.tracks[0].ticks, strict=True)] == [
        ("note_on", 0),
        ("note_on", 48),
        ("note_off", 96),
        ("note_off", 96),
        ("note_on", 192),
        ("control_change", 208),
        ("note_off", 208),
    ]
    assert score.notes["off_event"].tolist() == [2, 3, 6]
    assert codes(write(score)) == []


def test_hundreds_of_notes_without_releases() -> None:
    data = smf(b"".join(bytes((1, 0x90 | i % 16, i % 128, 64)) for i in range(5000)))
    score = read_score(data)
    assert len(score.notes) == 5000
    assert len(score.tracks[0].messages) == 10_000
    assert np.array_equal(read_score(write(score)).notes, score.notes)


def test_missing_release_does_not_lengthen_the_notes_after_it() -> None:
    """on, on, off, on, off: first in, first out would let the second note sound to the last release."""
    data = smf("00 90 3C 40  10 90 3C 50  10 80 3C 40  60 90 3C 40  10 80 3C 40  60 B0 07 64")
    assert notes(data) == [(0, 32, 60), (16, 32, 60), (128, 144, 60)]


def test_equal_notes_before_a_missing_release_stay_first_in_first_out() -> None:
    data = smf("00 90 3C 40  10 90 3C 50  10 80 3C 40  10 80 3C 40  10 90 3C 40  60 B0 07 64")
    assert notes(data) == [(0, 32, 60), (16, 48, 60), (64, 160, 60)]


def test_release_before_its_note_of_no_length() -> None:
    """A grace note whose release an exporter sorted before it (seen in files of a common score library)."""
    data = smf("00 90 3C 40  10 80 3C 40  00 80 3C 40  00 90 3C 50  60 90 3C 60  10 80 3C 40")
    score = read_score(data)
    assert notes(data) == [(0, 16, 60), (16, 16, 60), (112, 128, 60)]
    assert score.notes["velocity"].tolist() == [0x40, 0x50, 0x60]
    assert codes(data) == ["release-first"]
    assert codes(write(score)) == []
    assert np.array_equal(read_score(write(score)).notes, score.notes)


def test_redundant_release_before_a_released_note_is_left_alone() -> None:
    data = smf("00 90 3C 40  10 80 3C 40  00 80 3C 40  00 90 3C 50  60 80 3C 40")
    assert notes(data) == [(0, 16, 60), (16, 112, 60)]
    assert codes(data) == []
    assert events(write(read_score(data))) == events(data)


def test_redundant_release_is_harmless() -> None:
    assert notes(smf("00 80 3C 40  10 90 3C 40  10 80 3C 40  10 80 3C 40  10 90 3C 40  10 80 3C 40")) == [
        (16, 32, 60),
        (64, 80, 60),
    ]


def test_zero_length_note_is_kept() -> None:
    assert notes(smf("10 90 3C 40  00 80 3C 40")) == [(16, 16, 60)]


def test_same_key_on_two_channels_and_tracks_is_apart() -> None:
    data = smf("00 90 3C 40  00 91 3C 40  10 81 3C 40  10 80 3C 40", "08 90 3C 40  30 80 3C 40")
    assert notes(data) == [(0, 32, 60), (0, 16, 60), (8, 56, 60)]
    assert read_score(data).notes["part"].tolist() == [0, 1, 2]


def test_rows_are_ordered_by_onset_track_and_event() -> None:
    data = smf("10 90 3E 40  00 90 3C 40  10 90 40 40", "00 90 30 40  10 90 31 40")
    table = read_score(data).notes
    assert table["key"].tolist() == [0x30, 0x3E, 0x3C, 0x31, 0x40]
    assert table.dtype == NOTE_DTYPE


def test_all_notes_off_ends_notes_without_a_release() -> None:
    """p. 24: a receiver that obeys it; the end of the track would be much later."""
    data = smf("00 90 3C 40  60 B0 7B 00  81 00 B0 07 40")
    assert notes(data) == [(0, 96, 60)]
    assert [message.type for message in events(write(read_score(data)))[0]] == [
        "note_on",
        "note_off",
        "control_change",
        "control_change",
        "end_of_track",
    ]


def test_all_notes_off_in_another_track_ends_notes_without_a_release() -> None:
    """It is heeded by the channel, whichever track holds it; the release goes into the track of the note."""
    late = smf("00 90 3C 40  10 C0 05  81 00 C0 05", "60 B0 7B 00")
    early = smf("60 B0 7B 00", "00 90 3C 40  60 C0 05  81 00 C0 05")
    assert notes(late) == notes(early) == [(0, 96, 60)]
    assert [m.type for m in read_score(late).tracks[0].messages] == [
        "note_on",
        "program_change",
        "note_off",
        "program_change",
    ]


def test_releases_between_two_events_come_in_order_of_time() -> None:
    """Found by fuzzing: channel 1 is silenced after channel 2, both in another track between two events of this one."""
    data = smf("10 B1 7B 00  10 B0 7B 00", "00 90 3C 40  00 91 3C 40  60 C0 05")
    assert notes(data) == [(0, 32, 60), (0, 16, 60)]
    assert codes(write(read_score(data))) == []


def test_note_without_a_release_ends_where_its_port_is_left() -> None:
    """A release after the port event would go to the other port."""
    data = smf("00 90 3C 40  20 FF 21 01 01  20 C0 05")
    assert notes(data) == [(0, 32, 60)]
    assert codes(write(read_score(data))) == []


def test_all_notes_off_after_the_track_has_ended() -> None:
    assert notes(smf("00 90 3C 40  10 C0 05", "60 B0 7B 00")) == [(0, 16, 60)]


def test_all_notes_off_of_another_channel_does_nothing() -> None:
    assert notes(smf("00 90 3C 40  60 B1 7B 00  60 80 3C 40")) == [(0, 192, 60)]


def test_all_notes_off_does_not_replace_a_release() -> None:
    """p. 20: it must not be used in place of note-offs; where there is one, that one counts."""
    assert notes(smf("00 90 3C 40  60 B0 7B 00  60 80 3C 40")) == [(0, 192, 60)]


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2), st.booleans()), max_size=60))
def test_pairing_is_that_of_a_queue(steps: list[tuple[int, int, bool]]) -> None:
    """The vectorised pairing against a queue for each group, where no release is missing."""
    groups = [a * 3 + b for a, b, _ in steps]
    table = np.zeros(len(steps), dtype=EVENT_DTYPE)
    table["tick"] = np.arange(len(steps))
    table["velocity"] = [int(on) for _, _, on in steps]
    paired = pair(table, np.array(groups, dtype=np.int64))
    open_notes: dict[int, deque[int]] = {}
    expected: dict[int, int] = {}
    for index, (group, on) in enumerate(zip(groups, table["velocity"].tolist(), strict=True)):
        waiting = open_notes.setdefault(group, deque())
        if on:
            expected[index] = -1
            waiting.append(index)
        elif waiting:
            expected[waiting.popleft()] = index
    whole = [group for group, waiting in open_notes.items() if not waiting]
    found = dict(zip(paired.on.tolist(), paired.off.tolist(), strict=True))
    assert found.keys() == expected.keys()
    for index in expected:
        if groups[index] in whole:
            assert found[index] == expected[index]
    assert np.array_equal(paired.end[paired.off >= 0], paired.off[paired.off >= 0])
    owned = paired.off[paired.off >= 0]
    assert len(np.unique(owned)) == len(owned)
    assert np.all((paired.end > paired.on) | (paired.end < 0))
    assert paired.misplaced == []

"""No bytes at all lead to anything but a score or one clear line."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.errors import InputError, RetuneError
from retune.score import Score, events, parse, read_score, repair
from retune.score.reader import MOST_RESETS
from retune.score.repair import MOST_NOTES_AT_ONCE
from tests.score.build import codes, header, smf, write
from tests.score.real_music import WORKS, real_file


def read_or_refuse(data: bytes) -> None:
    """Read to a score that holds what it promises, or refuse in one line."""
    try:
        score = read_score(data)
    except RetuneError as refusal:
        line = str(refusal)
    else:
        line = ""
        check_score(score)
    assert "\n" not in line


def check_score(score: Score) -> None:
    """Check what the other stages rely on, and that the score written is a sound file."""
    assert np.all(score.notes["sounding_end_tick"] >= score.notes["onset_tick"])
    assert all(np.all(np.diff(track.ticks) >= 0) for track in score.tracks)
    assert np.all(np.isfinite(score.clock.seconds(score.notes["onset_tick"])))
    score.where(score.end_tick)
    again = read_score(write(score))
    assert np.array_equal(again.notes, score.notes)
    assert [remark.code for remark in again.remarks if remark.code not in ("odd-meta", "frame-rate")] == []


@settings(deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes(data: bytes) -> None:
    read_or_refuse(data)


@settings(deadline=None)
@given(st.binary(max_size=200))
def test_any_events(track: bytes) -> None:
    read_or_refuse(smf(track))


@settings(deadline=None)
@given(st.binary(min_size=8, max_size=200))
def test_any_chunks(data: bytes) -> None:
    read_or_refuse(header(1) + b"MTrk" + data)


@settings(deadline=None, max_examples=50)
@given(st.sampled_from(WORKS), st.data())
def test_damaged_real_file(work: str, data: st.DataObject) -> None:
    """Bytes changed, taken out, put in; the end cut off."""
    damaged = bytearray(real_file(work)[:1500])
    for _ in range(data.draw(st.integers(1, 5))):
        at = data.draw(st.integers(0, len(damaged) - 1))
        removed = data.draw(st.integers(0, 3))
        damaged[at : at + removed] = data.draw(st.binary(max_size=4))
    read_or_refuse(bytes(damaged))


def test_many_notes_at_one_tick() -> None:
    """Twenty thousand notes at tick 0 that are never released are one remark."""
    assert codes(smf(b"\x00\x90" + b"\x3c\x40\x00" * 19_999 + b"\x3c\x40")) == ["unreleased"]


@pytest.mark.parametrize("apart", ["00", "01"])
def test_more_notes_at_once_than_any_music_has(apart):
    """At one tick, or one tick after another."""
    track = bytes.fromhex("00 90 3C 40") + bytes.fromhex(apart + "3C 40") * MOST_NOTES_AT_ONCE
    with pytest.raises(InputError, match=r"^big: more than 50000 notes sound at once; this is hardly music$"):
        read_score(smf(track), name="big")


def test_notes_that_a_pedal_holds_are_no_crowd():
    track = (
        bytes.fromhex("00 B0 40 7F 00 90 3C 40 01 3C 00")
        + bytes.fromhex("00 3C 40 01 3C 00") * MOST_NOTES_AT_ONCE
    )
    assert len(read_score(smf(track)).notes) == MOST_NOTES_AT_ONCE + 1


def test_more_device_resets_than_any_music_has():
    """Each may cost the messages that set up sixteen channels anew."""
    reset = bytes.fromhex("01 F0 05 7E 7F 09 01 F7")
    notes = bytes.fromhex("00 90 3C 40 60 80 3C 40")
    assert codes(smf(notes + reset * MOST_RESETS)) == []
    message = r"^big: more than 2000 system exclusive messages reset the device \(GM, GS or XG\); this is hardly music$"
    with pytest.raises(InputError, match=message):
        read_score(smf(notes + reset * (MOST_RESETS + 1)), name="big")


def test_patterns_go_without_what_python_3_11_2_misreads():
    """Python before 3.11.5 loses its place in them (gh-106052), and no file could be read."""
    patterns = [
        value.pattern
        for module in (events, parse, repair)
        for value in vars(module).values()
        if isinstance(value, re.Pattern)
    ]
    assert len(patterns) > 5
    for pattern in patterns:
        assert b"(?>" not in pattern
        assert not re.search(rb"\)(?:\+|\{[^}]*\})\+", pattern), pattern

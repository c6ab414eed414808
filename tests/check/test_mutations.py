"""The check notices what a receiver would hear: each kind of message of a converted file, left out or altered.

One message of each kind and track is changed at a time; what stays silent by right is listed, with the reason.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator

import mido
import numpy as np
import pytest

from retune.check import check
from retune.encode import encode
from retune.options import Options
from retune.pipeline import analyze, tune
from tests.encode.build import Event, file_of, in_order, note

CHORDS = ((60, 64, 67), (57, 60, 64), (62, 65, 69), (55, 59, 62))
ALL = ("bend", "mpe", "mts", "mts-octave")
SILENT = {
    ("drop", "cc38"): (ALL, "an LSB of 0, which the MSB has set already (MIDI 1.0 p. 12)"),
    ("channel", "cc38"): (ALL, "the same"),
    ("control", "cc38"): (ALL, "the same"),
    ("value", "cc38"): (ALL, "a cent of bend range: less than the rounding of the bends"),
    ("channel", "polytouch"): (
        ("mpe",),
        "of a key of the manager, which plays none; its member has channel pressure",
    ),
    ("drop", "cc6"): (("bend", "mts"), "a range of 2 semitones, tuning bank 0: as receivers start"),
    ("channel", "cc6"): (("bend", "mts"), "the same"),
    **{
        (what, of): (("bend", "mts"), "the same: a parameter of which one half is not given is none")
        for what in ("drop", "channel", "control")
        for of in ("cc100", "cc101")
    },
}
"""What was done to what → encodings in which nobody hears it, and why."""

FIELDS = {
    "note_on": ("note", "velocity", "channel"),
    "note_off": ("note", "velocity", "channel"),
    "control_change": ("value", "control", "channel"),
    "program_change": ("program", "channel"),
    "pitchwheel": ("pitch", "channel"),
    "aftertouch": ("value", "channel"),
    "polytouch": ("value", "note", "channel"),
    "set_tempo": ("tempo",),
    "time_signature": ("numerator",),
    "marker": ("text",),
    "lyrics": ("text",),
    "track_name": ("name",),
}
OTHER = {"pitch": 200, "tempo": 1000, "channel": 3}


def cc(tick: int, number: int, value: int) -> Event:
    return tick, f"control_change channel=0 control={number} value={value}"


def music() -> bytes:
    """Chords with everything that a channel can be told, a second part, drums, and the events of a conductor."""
    conductor = [
        (0, "meta track_name name=Conductor"),
        (0, "meta set_tempo tempo=480000"),
        (0, "meta time_signature numerator=3 denominator=4"),
        (0, "sysex 7E 7F 06 01"),
        (960, "meta marker text=B"),
    ]
    set_up = [(0, "meta track_name name=Strings"), cc(0, 0, 1), cc(0, 32, 2)]
    set_up += [(0, "program_change channel=0 program=48")]
    set_up += [
        cc(0, *pair) for pair in ((7, 90), (10, 50), (11, 110), (74, 70), (101, 0), (100, 0), (6, 4), (38, 0))
    ]
    set_up += [cc(0, *pair) for pair in ((99, 1), (98, 8), (6, 70), (101, 127), (100, 127))]
    played = in_order(
        *(
            note(960 * k, 960 * k + 900, key, 0, 70 + k, 50 + k)
            for k, keys in enumerate(CHORDS)
            for key in keys
        ),
        [(200, "aftertouch channel=0 value=40"), (300, "polytouch channel=0 note=64 value=50")],
        [cc(500, 64, 127), cc(1500, 64, 0), cc(1000, 1, 30), (4000, "meta lyrics text=la")],
        [(1200, "pitchwheel channel=0 pitch=1000"), (1890, "pitchwheel channel=0 pitch=0")],
    )
    flute = in_order(*(note(960 * k, 960 * k + 800, keys[1] + 12, 1, 90) for k, keys in enumerate(CHORDS)))
    drums = in_order(*(note(480 * k, 480 * k + 100, 36 + k % 3, 9) for k in range(4)))
    head = [(0, "meta track_name name=Flute"), (0, "program_change channel=1 program=73")]
    return file_of([conductor, set_up + played, head + flute, drums])


def kind(message: mido.Message) -> str:
    return f"cc{message.control}" if message.type == "control_change" else message.type


def mutations(message: mido.Message) -> Iterator[tuple[str, mido.Message | None]]:
    yield "drop", None
    for field in FIELDS.get(message.type, ()):
        value = getattr(message, field)
        if isinstance(value, str):
            changed: object = value + "!"
        elif field == "value" and kind(message) == "cc64":
            changed = 127 - value
        else:
            step = OTHER.get(field, 1)
            changed = (
                (value + step) % 16 if field == "channel" else value + step if value < 126 else value - step
            )
        yield field, message.copy(**{field: changed})
    if message.type == "sysex":
        data = list(message.data)
        first = -2 if data[3] == 2 else -24  # of frequency words the middle byte, of octaves the twelve MSBs
        for place in range(first, 0, 2) if data[2] == 8 else (-1,):
            data[place] ^= 1
        yield "data", message.copy(data=data)


def changed_files(data: bytes) -> Iterator[tuple[str, str, bytes]]:
    """(what was done, to what kind of message, bytes) for the first message of each kind in each track."""
    file = mido.MidiFile(file=io.BytesIO(data))
    for track in file.tracks:
        seen: set[object] = set()
        for index, message in enumerate(list(track)):
            null = (
                message.type == "control_change"
                and message.control in (98, 99, 100, 101)
                and message.value == 127
            )
            selected = message.type == "control_change" and (message.control, null)
            key = selected or message.type
            if message.type == "end_of_track" or null or key in seen:
                continue
            seen.add(key)
            for what, other in mutations(message):
                whole = list(track)
                if other is None:
                    track[index + 1] = track[index + 1].copy(time=track[index + 1].time + message.time)
                    del track[index]
                else:
                    track[index] = other
                out = io.BytesIO()
                file.save(file=out)
                track[:] = whole
                yield what, kind(message), out.getvalue()


def unnoticed(
    encoding: str, files: Callable[[bytes], Iterator[tuple[str, str, bytes]]]
) -> tuple[int, set[tuple[str, str]]]:
    """How many changed files there are, and what was done to what without the check noticing."""
    options = Options(encoding=encoding, bend_range_semitones=12 if encoding == "mpe" else 2)
    analysis = analyze(music(), options)
    tuning = tune(analysis, explain=False)
    encoded = encode(analysis.score, tuning, options)
    assert check(analysis.score, encoded, intended=tuning).problems == ()
    allowed = encoded.worst_error_cents + 0.01
    found, count = set(), 0
    for what, of, data in files(encoded.files[0].data):
        report = check(analysis.score, data, intended=tuning, allowed_error_cents=allowed)
        count += 1
        if report.ok and not report.remarks:
            found.add((what, of))
    return count, found


@pytest.mark.parametrize("encoding", ALL)
def test_every_change_that_is_heard_is_noticed(encoding):
    count, found = unnoticed(encoding, changed_files)
    assert count > 100
    assert {change for change in found if encoding not in SILENT.get(change, ((), ""))[0]} == set()


WORDS = (
    1,
    1,
    1,
    2,
    2,
    4,
    1,
    1,
    2,
    2,
    2,
    3,
    3,
    4,
    4,
    4,
)  # of a packet, by message type: M2-104-UM v1.1.2, 2.1.4
SILENT_IN_CLIPS = {
    ("drop", "4f"): "management, before a pitch that overrides what it sets back",
    ("alter", "4f"): "the same",
    ("drop", "42"): "a bend range, which the next packet says again: one for each half of the file's",
    ("alter", "42"): "the same",
}


def changed_clips(data: bytes) -> Iterator[tuple[str, str, bytes]]:
    """(what was done, type and status, bytes) for the first packet of each type, status and number."""
    words = np.frombuffer(data, ">u4", offset=8).tolist()
    seen: set[int] = set()
    at = 0
    while at < len(words):
        size = WORDS[words[at] >> 28]
        packet, here = words[at : at + size], at
        at += size
        form = packet[0] & 0xFFF0FF00 if packet[0] >> 28 == 4 else packet[0]
        if packet[0] >> 28 in (0, 0xF) or form in seen:  # clockstamps and ends of the clip
            continue
        seen.add(form)
        name = f"{packet[0] >> 28:x}{packet[0] >> 20 & 15:x}"
        changed = list(packet)
        changed[1] ^= 0x02000000 if size == 2 else 0x01000000
        for what, new in (("drop", []), ("alter", changed)):
            whole = [*words[:here], *new, *words[at:]]
            yield what, name, data[:8] + np.array(whole, ">u4").tobytes()


def test_every_change_of_a_clip_is_noticed():
    """A pitch, velocity, controller, tempo or text one step or letter off, or gone."""
    count, found = unnoticed("midi2", changed_clips)
    assert count > 50
    assert found - set(SILENT_IN_CLIPS) == set()


def without(data: bytes, found: Callable[[mido.Message], bool]) -> bytes:
    """A file without the last message that is meant."""
    file = mido.MidiFile(file=io.BytesIO(data))
    for track in reversed(file.tracks):
        for index in reversed(range(len(track))):
            if found(track[index]):
                track[index + 1] = track[index + 1].copy(time=track[index + 1].time + track[index].time)
                del track[index]
                out = io.BytesIO()
                file.save(file=out)
                return out.getvalue()
    raise AssertionError("no such message")


def test_a_last_note_that_is_never_released_is_noticed():
    """The track ends where its note-off stood: it sounds no longer than before, but a player may let it hang."""
    data = file_of([in_order(note(0, 900, 60), note(0, 960, 64))])
    report = check(data, without(data, lambda message: message.type == "note_off"))
    assert report.fidelity.releases_lost == 1
    assert report.problems[-1].startswith("1 note is never released; first E4")


def test_a_member_that_is_not_told_its_range_is_noticed():
    """M1-100-UM v1.1, 2.2.5: one member's range is all members'; a receiver that knows no zones needs it on each."""
    options = Options(encoding="mpe", bend_range_semitones=12)
    analysis = analyze(music(), options)
    tuning = tune(analysis, explain=False)
    data = encode(analysis.score, tuning, options).files[0].data
    member = next(
        m.channel for m in mido.MidiFile(file=io.BytesIO(data)) if m.type == "note_on" and m.note == 64
    )
    cut = without(data, lambda m: m.type == "control_change" and (m.control, m.channel) == (6, member))
    report = check(analysis.score, cut, intended=tuning)
    assert report.fidelity.ranges_unsaid > 0
    assert "a range that only a receiver of MPE zones knows" in report.problems[0]

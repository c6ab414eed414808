"""Files that once ended with exit status 1, or a traceback, found by changing real files at random.

Each is as small as it would go, and converts in every encoding: what is written decodes as intended. What standards
say of a case is named beside it.
"""

from __future__ import annotations

from collections import defaultdict
from math import inf

import pytest

from retune.constants import CHANNELS_PER_PORT
from retune.errors import InputError, OptionError, RetuneError
from retune.options import ENCODINGS, Options
from retune.pipeline import convert
from retune.score import read_score
from tests.encode.build import Event, file_of, in_order, note

Tracks = list[list[Event]]


def cc(tick: int, number: int, value: int, channel: int = 0) -> Event:
    return tick, f"control_change channel={channel} control={number} value={value}"


def rpn(tick: int, msb: int, lsb: int, channel: int, *data: tuple[int, int]) -> list[Event]:
    return [
        cc(tick, 101, msb, channel),
        cc(tick, 100, lsb, channel),
        *(cc(tick, *pair, channel) for pair in data),
    ]


def nrpn(tick: int, number: int, channel: int, *data: tuple[int, int]) -> list[Event]:
    return [
        cc(tick, 99, 0, channel),
        cc(tick, 98, number, channel),
        *(cc(tick, *pair, channel) for pair in data),
    ]


def zone(tick: int, members: int, manager: int = 0) -> list[Event]:
    return rpn(tick, 0, 6, manager, (6, members))


def program(tick: int, number: int, channel: int = 0) -> Event:
    return tick, f"program_change channel={channel} program={number}"


def bend(tick: int, value: int, channel: int = 0) -> Event:
    return tick, f"pitchwheel channel={channel} pitch={value}"


def drums(tick: int, block: int) -> Event:
    """A "use for rhythm part" message of the GS format (from memory); block 2 is channel 2."""
    return tick, f"sysex 41 10 42 12 40 {16 + block:02X} 15 01 18"


CHORD = in_order(note(480, 960, 60), note(480, 960, 64), note(480, 960, 67))
ODD: dict[str, Tracks] = {
    "a member is told a program, which is its manager's to choose (MPE 2.3.3)": [
        [*zone(0, 7, 15), program(0, 70, 15), program(0, 5, 12), *note(48, 96, 57, 12)]
    ],
    "a bank for a member": [
        [*zone(0, 8), cc(0, 0, 121, 7), program(0, 0), *note(720, 900, 64, 7), cc(1000, 6, 2, 2)]
    ],
    "a rhythm bank for a member (RP-024 2.4)": [
        [
            *zone(0, 8),
            program(0, 36),
            *note(0, 90, 69, 3),
            cc(0, 0, 120, 3),
            program(0, 5, 3),
            *note(99, 190, 69, 3),
        ]
    ],
    "the later zone takes channel 10 (MPE 2.2.2)": [
        [*zone(0, 15), *zone(0, 7, 15), program(0, 99), *note(0, 480, 60, 9)]
    ],
    "a pedal held on a manager whose member leaves (MPE 2.2.3)": [
        [*zone(0, 15), cc(100, 64, 127), *zone(438, 5, 15), *note(480, 900, 60, 13)]
    ],
    "a controller after the zone": [
        [*note(0, 400, 62, 1), *zone(0, 15, 15), cc(48, 5, 64, 15)],
    ],
    "a bend range by its LSB alone, for a member (MPE 2.2.5)": [
        [*zone(0, 15), *rpn(2, 0, 0, 1, (38, 0)), bend(3, -27, 2), *note(4, 300, 48, 2)]
    ],
    "the same, after another member's range": [
        [
            *zone(0, 15),
            *rpn(0, 0, 0, 13, (6, 2)),
            *rpn(0, 0, 0, 15, (38, 0)),
            bend(0, 53, 1),
            *note(0, 720, 67, 1),
        ]
    ],
    "a bend range of 110 cents more (MIDI 1.0 p. 18: cents)": [
        [*note(0, 90, 65, 1), *rpn(0, 0, 0, 3, (38, 110)), bend(0, -497, 3), *note(0, 96, 69, 3)]
    ],
    "data for a parameter of which one half is given (MIDI 1.0 p. 17)": [
        [*zone(0, 8), cc(0, 101, 127), cc(0, 38, 0), cc(9, 101, 0), cc(9, 6, 0), *note(99, 200, 67, 8)],
        [cc(0, 101, 0, 1), cc(0, 6, 3, 1), *note(0, 400, 60, 1), *note(0, 400, 64, 1)],
    ],
    "a parameter told to a zone that ends": [
        [
            *zone(0, 15),
            *nrpn(0, 0, 0, (6, 24)),
            *zone(192, 7),
            *note(384, 900, 69, 12),
            *note(384, 900, 73, 12),
        ]
    ],
    "a zone message on a channel that manages none (MPE 2.2.1)": [
        [*note(60, 400, 55, 3), *note(60, 400, 59, 3), *rpn(126, 0, 6, 3, (6, 14)), *note(130, 300, 62, 3)]
    ],
    "steps of a zone message": [
        [*rpn(58, 0, 6, 9, (97, 2)), *rpn(60, 0, 4, 9, (97, 2), (96, 0)), *note(60, 200, 62, 10)]
    ],
    "NRPN 0 by its LSB": [[*note(0, 480, 70, 1), *nrpn(500, 0, 1, (38, 24)), *nrpn(600, 0, 1, (96, 24))]],
    "RPN 7": [[*note(24, 90, 64, 13), *rpn(24, 0, 7, 4, (6, 48))]],
    "names of a track in the middle": [
        [(0, "meta track_name name=Alto"), *note(0, 90, 60), (91, "meta track_name name=Tenor")]
    ],
    "local control (MIDI 1.0 p. 20)": [
        [*note(0, 700, 57), *note(0, 700, 64), cc(12, 122, 64), *note(72, 800, 57), *note(720, 900, 69)]
    ],
    "General MIDI off": [
        [(85, "sysex 7E 7F 09 02")],
        [
            program(0, 89, 1),
            *note(0, 80, 69, 1),
            *note(90, 200, 67, 1),
            *note(90, 300, 71, 1),
            *note(200, 300, 62, 1),
        ],
    ],
    "an octave table for the channel that a member of channel 10 moves to": [
        [
            *zone(0, 15),
            (438, "sysex 7E 7F 08 08 00 00 01 37 35 4B 52 49 73 36 4F 44 5F 3E 46"),
            *note(960, 1400, 64, 9),
        ]
    ],
    "drums by message on a channel that notes might borrow": [
        [drums(12, 2), *note(60, 400, 60), *note(60, 400, 63), *note(60, 400, 69, 5)]
    ],
    "mono mode that a reset ends": [
        [cc(0, 126, 1, 1), (5, "sysex 7E 7F 09 03"), *note(137, 300, 42, 1), *note(137, 300, 38, 1)]
    ],
    "a release too many on a channel that a part borrows": [
        [
            *note(0, 900, 60, 0),
            *note(0, 900, 64, 0),
            *note(0, 900, 67, 0),
            *(
                (600, f"note_off channel={c} note={key} velocity=0")
                for c in range(1, 16)
                for key in (60, 64, 67)
            ),
        ]
    ],
    "another tuning bank than ours (MTS p. 3)": [
        [*note(0, 300, 59, 2), *note(0, 300, 62, 2), *rpn(48, 0, 4, 2, (6, 12))],
    ],
    "tracks that tune one channel at one tick": [
        [*note(0, 12, 53, 14)],
        [*note(12, 60, 59)],
        [*note(0, 48, 60), *note(0, 48, 67), *note(0, 48, 70), *note(0, 48, 57)],
    ],
    "parameters of two channels without notes": [
        [*note(0, 900, 57), cc(0, 101, 25, 15), cc(0, 101, 127, 8), *note(0, 900, 60, 2)],
        [cc(0, 100, 29, 15), cc(0, 38, 127, 15)],
    ],
    "modulation depth by its LSB (GM2 3.4)": [
        [*note(192, 576, 67), *rpn(192, 0, 5, 2, (38, 24)), *rpn(200, 0, 5, 0, (96, 0))],
        [*note(0, 300, 62, 15), *note(48, 300, 63, 15)],
        [*note(144, 300, 67, 14), *note(144, 300, 70, 14)],
    ],
    "a release too many on the manager of channel 10": [
        [*zone(0, 15), *note(0, 108, 60, 9), (48, "note_off channel=0 note=60 velocity=64")]
    ],
    "bends over the widest range (MIDI 1.0 p. 18)": [
        [*rpn(0, 0, 0, 1, (6, 127)), *note(6, 600, 58, 1), *note(6, 600, 61, 1), bend(400, -8192, 1)]
    ],
    "tracks whose notes on one channel glide together": [
        [*note(11520, 17280, 63, 4), *note(12480, 17280, 60), *note(13440, 17280, 62, 6)],
        [*note(9600, 19200, 58, 4)],
        [*note(12480, 15360, 54, 7)],
    ],
    "two parts on a channel, of which one is drums": [
        [*note(1760, 1900, 65, 6)],
        [*note(336, 1900, 50, 6), cc(728, 0, 120, 6), program(728, 0, 6)],
    ],
    "settings on a channel without notes that a part moves to": [
        [cc(0, 100, 127, 8)],
        [
            *note(0, 1920, 57, 2),
            cc(0, 69, 100, 6),
            *note(960, 1920, 60, 3),
            bend(960, 641, 4),
            *note(960, 1920, 63, 4),
            bend(960, 721, 12),
            *note(960, 1920, 70, 12),
        ],
    ],
    "a device reset takes the pressure off a key (GM2 4.9)": [
        [
            *note(0, 900, 127),
            *note(0, 720, 64),
            (0, "polytouch channel=0 note=64 value=3"),
            (370, "sysex 7E 7F 09 01"),
        ]
    ],
    "a bank that waits for its program when another channel needs the one before": [
        [*zone(0, 7), cc(0, 0, 6), cc(2, 0, 38)],
        [program(0, 0), *note(0, 1900, 62, 2), *note(1680, 1900, 67, 2)],
    ],
    "another program on the same channel of another port": [
        [
            *zone(0, 15),
            program(0, 53),
            *note(480, 800, 69, 3),
            (885, "meta midi_port port=2"),
            program(960, 0),
            (980, "meta midi_port port=0"),
            program(1560, 0, 3),
        ]
    ],
    "steps of the tuning bank (MTS p. 3)": [
        [*rpn(0, 0, 4, 3, (38, 127), (96, 48))],
        [(0, "sysex 7F 7F 08 02 00 01 37 37 05 6C"), *note(0, 480, 55, 3)],
    ],
    "a zone that takes in a channel in mono mode, whose key is down": [
        [cc(0, 126, 0, 15), *note(96, 600, 51, 15), *note(96, 600, 50, 15), *zone(192, 15), cc(300, 91, 57)],
    ],
    "a note in front of the zone it is in at its tick": [
        [*note(72, 200, 64, 9)],
        [*zone(72, 14, 15)],
    ],
}


ALONE: dict[str, Tracks] = {
    "controller 121 takes the pressure off a key (RP-015)": [
        [
            *note(0, 900, 60),
            *note(0, 900, 64),
            (100, "polytouch channel=0 note=64 value=50"),
            cc(200, 121, 0),
        ],
    ],
    "an octave table for the channel that channel 10 moves to, each part in a file": [
        [*zone(0, 14)],
        [
            (60, "sysex 7F 7F 08 09 00 00 01" + 7 * " 40 00" + " 4A 6C" + 4 * " 40 00"),
            *note(60, 400, 67, 9),
        ],
    ],
    "a program before the note of its tick on one channel, behind it on another": [
        [*note(0, 600, 62, 1), program(240, 52, 5), bend(240, -426, 5), *note(240, 600, 57, 5)],
        [*note(240, 600, 57, 8), program(240, 52, 8), bend(240, -426, 8)],
    ],
}
"""Without a chord beside them."""


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("name", [*ODD, *ALONE])
def test_odd_files_convert(name, encoding):
    tracks = [sorted(track, key=lambda event: event[0]) for track in (ODD | ALONE)[name]]
    data = file_of([*tracks, CHORD] if name in ODD else tracks)
    assert convert(data, Options(encoding=encoding)).checked.problems == ()
    assert convert(data, Options(encoding=encoding), per_part=True).checked.problems == ()
    gliding = Options(encoding=encoding, glide_ms=20.0, hold_limit_cents=inf)
    assert convert(data, gliding).checked.problems == ()


def test_drums_that_become_notes_are_refused_where_tables_would_tune_them():
    """They are not retuned, since they start as drums; tables leave drums alone (GM2 4.7), but not notes."""
    part = [
        cc(0, 0, 120),
        program(0, 0),
        *note(144, 400, 55),
        (432, "sysex 43 10 4C 00 00 7E 00"),
        *note(440, 552, 57),
    ]
    table = [(432, "sysex 7F 7F 08 09 00 00 01" + 9 * " 40 00" + " 38 75 40 00 3B 35")]
    message = "^bar 1, beat 1.92: track 1 channel 1 is drums at first and no drums from here on"
    for tracks, encoding in (([table, part], "bend"), ([part], "mts"), ([part], "mts-octave")):
        with pytest.raises(InputError, match=message.replace("track 1", f"track {len(tracks)}")):
            convert(file_of([*tracks, CHORD]), Options(encoding=encoding))


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_tables_and_nothing_but_drums(encoding):
    data = file_of([[(0, "sysex 7F 7F 08 02 00 01 43 42 7C 55"), *note(0, 90, 67, 9)]])
    assert convert(data, Options(encoding=encoding)).checked.problems == ()


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_drums_by_message_stay_where_they_are(encoding):
    """Only `mpe` may have no room for them."""
    member = [*zone(0, 9), program(0, 70, 1), drums(0, 2), *note(60, 400, 60, 1), *note(60, 400, 63, 2)]
    data = file_of([in_order(member), CHORD])
    if encoding == "mpe":
        with pytest.raises(OptionError, match="makes channel 2 a drum kit, which is in the way"):
            convert(data, Options(encoding=encoding))
    else:
        assert convert(data, Options(encoding=encoding)).checked.problems == ()


@pytest.mark.parametrize("sounds", [7, 8])
def test_drums_by_message_are_no_member(sounds):
    """Eight sounds leave the zone one member, channel 2, and that is made drums: it carries none of their notes."""
    events = [drums(12, 2)]
    for c in (0, 2, 3, 4, 5, 6, 7, 8)[:sounds]:
        events += [program(0, c + 1, c), *note(24, 400, 60 + c, c), *note(24, 400, 64 + c, c)]
    data = file_of([in_order(events)])
    if sounds == 7:
        assert convert(data, Options(encoding="mpe")).checked.problems == ()
    else:
        with pytest.raises(
            OptionError, match="makes channel 2 a drum kit, which leaves no room for an MPE zone"
        ):
            convert(data, Options(encoding="mpe"))


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_a_part_that_a_message_makes_drums_is_refused_unless_it_keeps_its_channel(encoding):
    part = [*note(0, 100, 57, 1), drums(120, 2), *note(480, 960, 62, 1), *note(480, 960, 65, 1)]
    data = file_of([in_order(part), CHORD])
    if encoding == "midi2":
        assert convert(data, Options(encoding=encoding)).checked.problems == ()
    else:
        with pytest.raises(RetuneError, match="makes channel 2 a drum kit"):
            convert(data, Options(encoding=encoding))


def test_manager_and_member_share_out_what_they_are_told():
    """MPE 2.3.1, 2.3.3: written with bends, each note has the manager's program and the later controller."""
    line = [
        *zone(0, 3),
        program(0, 41),
        cc(0, 7, 90),
        cc(10, 7, 50, 1),
        program(10, 5, 1),
        *note(100, 200, 60, 1),
        cc(300, 7, 80),
        *note(400, 500, 62, 1),
    ]
    out = read_score(convert(file_of([line, CHORD]), Options()).files[0].data)
    told: dict[int, list[int]] = {channel: [0, 100] for channel in range(CHANNELS_PER_PORT)}
    heard = []
    for message in out.tracks[0].messages:
        if message.type == "program_change":
            told[message.channel][0] = message.program
        elif message.type == "control_change" and message.control == 7:
            told[message.channel][1] = message.value
        elif message.type == "note_on":
            heard.append((message.note, *told[message.channel]))
    assert heard == [(60, 41, 50), (62, 41, 80)]


@pytest.mark.parametrize("number", [120, 123, 124, 125, 126, 127])
def test_what_ends_the_notes_of_a_zone_ends_those_of_every_member(number):
    """MPE 2.3.1: a manager gets mode messages for its zone, so without one each channel that sounds gets them."""
    held = [*zone(0, 3), *(event for c in (1, 2, 3) for event in note(0, 480, 60 + 4 * c, c))]
    data = file_of([in_order(held, [cc(240, number, int(number == 126))])])
    (track,) = read_score(convert(data, Options()).files[0].data).tracks
    timed = list(zip(track.ticks.tolist(), track.messages, strict=True))
    sounding = {m.channel for _, m in timed if m.type == "note_on"}
    told = {
        m.channel for tick, m in timed if tick == 240 and m.type == "control_change" and m.control == number
    }
    assert len(sounding) == 3
    assert sounding <= told


FULL = [event for channel in (0, *range(1, 16)) for event in note(10, 400, 40 + channel, channel)]


@pytest.mark.parametrize(
    ("track", "why"),
    [
        (
            [*note(36, 60, 62, 9), *zone(60, 14), *note(84, 99, 69, 9)],
            "bar 1, beat 1.07: .* member of an MPE zone by turns",
        ),
        ([*zone(0, 15), *FULL], "no other channel is free"),
    ],
)
def test_what_no_file_without_zones_can_say_is_refused(track, why):
    """Channel 10 is drums without a zone (GM1 p. 2), and all channels of a port are in use."""
    data = file_of([sorted(track, key=lambda event: event[0])])
    with pytest.raises(InputError, match=why):
        convert(data, Options())


def test_device_controls_reach_further_ports():
    """CA-025: master tuning and volume are for a device, and each port has one; all of them, in their order."""
    keys = ((48, 52, 55), (53, 57, 60), (50, 55, 59), (45, 48, 52))
    chords = [
        note(480 * k, 480 * k + 900, key + channel, channel)
        for channel in range(8)
        for k in range(4)
        for key in keys[k]
    ]
    controls = [
        (45, "sysex 7F 7F 04 04 00 41"),
        (500, "sysex 7F 7F 04 01 00 50"),
        (999, "sysex 7F 7F 04 01 00 30"),
    ]
    data = file_of([in_order(controls, *chords)])
    done = convert(data, Options(when_full="ports"))
    assert done.checked.problems == ()
    heard = defaultdict(list)
    for track in read_score(done.files[0].data).tracks:
        port = 0
        for tick, message in zip(track.ticks, track.messages, strict=True):
            port = message.port if message.type == "midi_port" else port
            if message.type == "sysex":
                heard[port].append((int(tick), f"sysex {bytes(message.data).hex(' ').upper()}"))
    assert len(heard) > 2
    assert list(heard.values()) == [controls] * len(heard)


def test_a_reset_reaches_zones_on_further_ports():
    """General MIDI 2 (RP-024) 4.9: after it every program is as at the start, on each device."""
    reset = [(7892, "sysex 41 10 42 12 40 00 7F 00 41")]
    sounds = [
        [program(0, 52 + k, k), *note(480, 960, 60 + k, k), *note(8640, 9600, 64 + k, k)] for k in range(4)
    ]
    data = file_of([reset, *sounds])
    done = convert(data, Options(encoding="mpe", when_full="ports"))
    assert done.checked.problems == ()
    assert done.checked.ports > 1

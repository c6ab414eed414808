"""Single messages against bytes printed in the standards."""

import mido
import pytest

from retune.encode import messages as build


def hex_of(messages):
    return " ".join(m.hex() for m in messages)


def test_bend_range_is_the_group_of_the_specification():
    """Range 48 on channel 2: MIDI 1.0 Detailed Specification 4.2.1 p. 18, in the order of p. 12 (MSB first)."""
    expected = "B1 65 00 B1 64 00 B1 06 30 B1 26 00 B1 65 7F B1 64 7F"
    assert hex_of(build.bend_range(1, 48)) == expected


@pytest.mark.parametrize(
    ("value", "expected"),
    [(0, "E0 00 00"), (8192, "E0 00 40"), (16383, "E0 7F 7F")],  # MIDI 1.0 Detailed Specification 4.2.1 p. 19
)
def test_bend_bytes(value, expected):
    assert build.bend(0, value).hex() == expected


def test_parameter_group_closes_with_the_selection_the_input_relies_on():
    group = build.set_parameter(0, (0, 0), ((6, 2),), then=("nrpn", (1, 8)))
    assert hex_of(group) == "B0 65 00 B0 64 00 B0 06 02 B0 63 01 B0 62 08"


def test_built_messages_equal_checked_ones():
    """The cheap way of building messages makes what the library would have made."""
    assert build.bend(3, 9000) == mido.Message("pitchwheel", channel=3, pitch=808)
    assert build.control(2, 7, 99) == mido.Message("control_change", channel=2, control=7, value=99)
    assert build.program(1, 5) == mido.Message("program_change", channel=1, program=5)
    assert build.pressure(1, 5) == mido.Message("aftertouch", channel=1, value=5)
    assert build.sysex((0x7E, 0x7F, 9, 1)) == mido.Message("sysex", data=(0x7E, 0x7F, 9, 1))


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        ("7E 7F 09 01", True),  # GM1 System On, RP-003 p. 3
        ("7E 7F 09 03", True),  # GM2 System On, RP-024 4.9.2
        ("41 10 42 12 40 00 7F 00 41", True),  # a maker's reset, from memory
        ("43 10 4C 00 00 7E 00", True),  # another's, from memory
        ("7F 7F 04 01 00 7F", False),  # master volume
        ("41 10 42 12 40 01 10 00 2F", False),
        ("7E", False),
        ("", False),
    ],
)
def test_resets_are_recognised(data, expected):
    assert build.is_reset(mido.Message("sysex", data=bytes.fromhex(data))) is expected

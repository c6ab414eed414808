"""Which parts a text means."""

from __future__ import annotations

from dataclasses import replace

import pytest

from retune.errors import OptionError
from retune.score.choose import parts_meant, programs_in
from retune.score.model import Part

NAMES = (("Soprano", 52), ("Alto", 52), ("Piano", 0), ("Violin 1", 40), ("Violin 2", 41), ("Drums", 0))
PARTS = tuple(
    Part(index=i, name=name, track=i, port=0, channel=i, program=program, is_percussion=name == "Drums")
    for i, (name, program) in enumerate(NAMES)
)


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("Piano", (2,)),
        (" piano ", (2,)),
        ("pi", (2,)),
        ("3", (2,)),
        ("violin 2", (4,)),
        ("program:52", (0, 1)),
        ("program:40-47", (3, 4)),
        ("program:0-127", (0, 1, 2, 3, 4)),
    ],
)
def test_what_a_text_means(text, meant):
    assert parts_meant(text, PARTS) == meant


def test_a_number_is_no_beginning_of_a_name():
    """2 is the second part, not the 2nd Violin; a name that is a number goes before both."""
    parts = tuple(
        replace(PARTS[k], index=k, name=name) for k, name in enumerate(("2nd Violin", "Organ", "1"))
    )
    assert [parts_meant(text, parts) for text in ("2", "2nd", "1")] == [(1,), (0,), (2,)]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("Pianno", "part 'Pianno': no such part; nearest: Piano; the parts are 1 Soprano, 2 Alto, "),
        ("", "part '': no such part; the parts are"),
        ("0", "part '0': no such part"),
        ("7", "part '7': no such part"),
        ("9" * 5000, "no such part"),
        ("viol", "part 'viol': several names begin so (Violin 1, Violin 2); say more"),
        ("6", "part 'Drums': percussion has no tuning"),
        ("dr", "part 'Drums': percussion has no tuning"),
        ("program:200", "part 'program:200': not a program from 0 to 127"),
        ("program:7-0", "part 'program:7-0': not a program from 0 to 127"),
        ("program:", "part 'program:': not a program from 0 to 127"),
        ("program:80-90", "part 'program:80-90': no pitched part has such a program; the parts are"),
    ],
)
def test_what_means_no_part_is_refused(text, message):
    with pytest.raises(OptionError) as caught:
        parts_meant(text, PARTS)
    assert message in str(caught.value)


def test_a_name_that_is_far_from_all_gets_no_hint():
    with pytest.raises(OptionError) as caught:
        parts_meant("Piano", PARTS[:2])
    assert "nearest" not in str(caught.value)


def test_programs_of_a_text():
    assert list(programs_in("program:0-2") or ()) == [0, 1, 2]
    assert programs_in("Piano") is None
    assert programs_in("program:7-0") is None

"""Reading plan files: what they say, and errors that name file, line and field."""

from __future__ import annotations

import math

import pytest

from retune.errors import PlanError
from retune.plan import read_plan
from retune.toml_lines import line_of

PLAN = """\
# a comment
format = 1
fixed = ["Piano", "program:0-7"]

sections = [
  {bars = "17-24", drift_limit = 0},
  {bars = "3", hold_limit = "none"},
]

ratios."7" = "4:5:6:7"

windows = [
  {at = "5.1", root = "Gb", chord = "min7", bass = "E", ratios = "1 6/5 3/2 9/5"},
  {at = "6.1", to = "6.3", root = "C", tones = "C Eb F#"},
  {at = "9.1", ratios = "1 7/6 3/2"},
]
"""


def test_plan_says_what_is_written():
    plan = read_plan(PLAN, name="song.toml")
    assert plan.fixed == ("Piano", "program:0-7")
    assert plan.for_chord == {"7": {0: (1, 1), 4: (5, 4), 7: (3, 2), 10: (7, 4)}}
    loose, free = plan.sections
    assert (loose.first_bar, loose.last_bar, loose.drift_limit_cents, loose.hold_limit_cents) == (
        17,
        24,
        0,
        None,
    )
    assert (free.first_bar, free.last_bar, free.drift_limit_cents, free.hold_limit_cents) == (
        3,
        3,
        None,
        math.inf,
    )
    first, second, third = plan.windows
    assert (first.start, first.end, first.root_pc, first.chord, first.bass_pc) == (
        (5, 1.0),
        None,
        6,
        "min7",
        4,
    )
    assert (second.end, second.chord, second.members) == ((6, 3.0), "", 0b1001001)
    assert (third.root_pc, third.ratios) == (None, {0: (1, 1), 3: (7, 6), 7: (3, 2)})


def test_empty_plan_is_a_plan():
    plan = read_plan("")
    assert (plan.windows, plan.sections, plan.fixed, dict(plan.for_chord)) == ((), (), (), {})


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            'chord = "min7"',
            'chord = "mni7"',
            r"line 13, windows 1, chord: no such chord type 'mni7'; nearest: min7",
        ),
        ('root = "Gb"', 'root = "H"', "line 13, windows 1, root: 'H' is not a note name"),
        ('root = "Gb"', 'rot = "Gb"', "line 13, windows 1, rot: no such field; nearest: root"),
        ('at = "5.1"', "at = 5.1", "line 13, windows 1, at: 5.1 is not a place"),
        ("9/5", "5/3", "line 13, windows 1, ratios: 5/3 is nearest to semitone 9, which min7"),
        ('to = "6.3"', 'to = "6.1"', "line 14, windows 2, to: '6.1' is not after the start '6.1'"),
        ('root = "C", tones', "tones", "line 14, windows 2, tones: needs a root in the same row"),
        (', tones = "C Eb F#"', "", "line 14, windows 2, root: needs a chord or tones"),
        (', ratios = "1 7/6 3/2"', "", "line 15, windows 3: needs a root"),
        ('at = "9.1", ', "", 'line 15, windows 3: needs at = "bar.beat"'),
        (
            "drift_limit = 0",
            "drift_limit = -1",
            "line 6, sections 1, drift_limit: -1 is not a number of cents",
        ),
        ("drift_limit = 0", "drift = 0", "line 6, sections 1, drift: no such field; nearest: drift_limit"),
        (", drift_limit = 0", "", "line 6, sections 1: needs a drift_limit or a hold_limit"),
        ('bars = "3", ', "", "line 7, sections 2: needs bars"),
        (
            'ratios."7" = "4:5:6:7"',
            'ratios.dom = "4:5:6:7"',
            "line 10, ratios, dom: no such chord type 'dom'",
        ),
        ('"4:5:6:7"', '"4:5:6:8.5"', "line 10, ratios, 7: .*'8.5' is not a whole number"),
        ("format = 1", "format = 2", "line 2, format: this retune reads plans of format 1"),
        ("fixed =", "fixd =", "line 3, fixd: no such field; nearest: fixed"),
        ('"program:0-7"', "7.5", "line 3, fixed: must be a list of parts"),
        (
            'ratios."7" =',
            'ratios.dom7 = "4:5:6:7"\nratios."7" =',
            "line 11, ratios, 7: the ratios of 7 are given a second time",
        ),
        ('chord = "min7",', 'chord = "min7" "x",', r"line 13, column \d+: "),
    ],
)
def test_error_names_file_line_and_field(old, new, message):
    assert old in PLAN
    with pytest.raises(PlanError, match=f"^song.toml, {message}") as caught:
        read_plan(PLAN.replace(old, new), name="song.toml")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "text", ["windows = 3", "windows = [3]", "ratios = 3", "sections = {}", "fixed = 'a'"]
)
def test_fields_of_the_wrong_kind_are_refused(text):
    with pytest.raises(PlanError, match="must be"):
        read_plan(text)


def test_other_toml_forms_are_read_and_placed_too():
    """A plan may be written with headers instead of rows in braces."""
    text = '[[windows]]\nat = "2.1"\nroot = "C"\nchord = "maj"\n\n[[windows]]\nat = "3.1"\nroot = "D"\nchord = "mai"\n'
    with pytest.raises(PlanError, match="line 9, windows 2, chord"):
        read_plan(text)
    assert read_plan(text.replace("mai", "maj")).windows[1].root_pc == 2


def test_line_of_a_value_in_any_place():
    text = "a = 1\nb = [\n  1,\n  [2,\n   3],\n]\n\n[c]\nd = '''\nx\n'''\ne = 5\n"
    lines = {("a",): 1, ("b", 0): 3, ("b", 1, 0): 4, ("b", 1, 1): 5, ("c", "d"): 11, ("c", "e"): 12}
    assert {path: line_of(text, path) for path in lines} == lines


def test_a_part_may_be_given_as_a_number():
    assert read_plan('fixed = [3, "Piano"]').fixed == ("3", "Piano")


def test_ratios_of_a_chord_type_as_lead_sheets_write_it():
    plan = read_plan('ratios.m7 = "1 7/6 3/2 7/4"')
    assert dict(plan.for_chord) == {"min7": {0: (1, 1), 3: (7, 6), 7: (3, 2), 10: (7, 4)}}

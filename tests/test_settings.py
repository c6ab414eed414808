"""`retune.toml`: what it may say, what wins over it, and how mistakes in it are answered."""

from __future__ import annotations

import json
import shlex
import shutil
import tomllib
from math import inf

import click
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.cli.main import retune
from retune.errors import InputError, OptionError
from retune.options import CHORDS, ENCODINGS, PRIME_LIMITS, WHEN_FULL, Options
from retune.settings import FIELD_OF, NAMES, Settings, as_arguments, read_settings, settings_here
from retune.tuning.presets import PRESETS
from tests.cli.run import HYMN, run

EVERYTHING = """
preset = "still-lines"
prime-limit = 7
drift_limit = "none"   # - and _ are the same
hold-limit = 0.5
reference = 442
home = "A"
fixed = ["Piano", "program:24-31"]
chords = "markers"
encoding = "mpe"
bend_range = 48
glide = 20
when-full = "ports"
keep-channel-10-free = false
"""


def test_every_option_can_be_said():
    options = read_settings(EVERYTHING).options()
    assert options == Options(
        prime_limit=7,
        drift_limit_cents=inf,
        hold_limit_cents=0.5,
        line_weight=6.0,  # of the preset
        reference_hz=442.0,
        home="A",
        fixed=("Piano", "program:24-31"),
        chords="markers",
        encoding="mpe",
        bend_range_semitones=48,
        glide_ms=20.0,
        when_full="ports",
        keep_channel_10_free=False,
    )


def test_names_are_the_long_options_of_the_command():
    command = retune.get_command(click.Context(retune), "convert")
    longs = {
        name.removeprefix("--"): parameter
        for parameter in command.params
        for name in parameter.opts
        if name.startswith("--")
    }
    of_options = {name for name, p in longs.items() if p.name in Options.__dataclass_fields__}
    assert set(NAMES) == of_options | {"preset"}
    assert {longs[name].name for name in FIELD_OF} == set(FIELD_OF.values())


def test_a_single_part_needs_no_list():
    assert read_settings('fixed = "Piano"').options().fixed == ("Piano",)


def test_no_file_says_nothing(tmp_path):
    assert settings_here(str(tmp_path)) == Settings()
    assert Settings().options() == Options()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "glide = 5\ndrift-limt = 3",
            "retune.toml, line 2: no such option 'drift-limt'; nearest: drift-limit",
        ),
        ("Drift_Limit = 3", "retune.toml, line 1: no such option 'Drift_Limit'; nearest: drift-limit"),
        ("\n[convert]\nglide = 5", "line 2: no such option 'convert'"),
        ("zzz = 1", "line 1: no such option 'zzz'; known: preset, prime-limit, drift-limit,"),
        ("glide = 5\n\ndrift_limit = 1\ndrift-limit = 2", "line 4: said already, as 'drift_limit'"),
        (
            'encoding = "mpee"',
            "line 1: encoding: 'mpee' is not one of bend, mpe, mts, mts-octave, midi2; nearest",
        ),
        ("prime-limit = 9", "line 1: prime limit: 9 is not one of 3, 5, 7, 11, 13"),
        ('prime-limit = "7"', 'line 1: prime-limit: "7" is not a whole number'),
        ("prime-limit = true", "line 1: prime-limit: true is not a whole number"),
        ('glide = "fast"', 'line 1: glide: "fast" is not a number'),
        ('home = "H"', "line 1: home: 'H' is not mean, tonic or a note name such as A or F#"),
        ("drift-limit = -1", "line 1: drift limit: -1 is not between 0 and 1200 cents, nor none"),
        ("hold-limit = nan", "line 1: hold limit: nan is not between 0 and 1200 cents, nor none"),
        ('hold-limit = "nil"', 'line 1: hold-limit: "nil" is not a number of cents, nor "none"'),
        ("\n\nreference = 4400", "line 3: reference: 4400 Hz is outside 380 to 500 Hz"),
        ("reference = 1" + 400 * "0", "line 1: reference: "),
        ("home = 5", "line 1: home: 5 is not a word in quotes"),
        ("fixed = [1]", 'line 1: fixed: [1] is not a list of parts, such as ["Piano"]'),
        ('preset = "still-line"', "nearest: still-lines"),
        ("preset = {a = 1}", "line 1: preset: "),
        ("glide = 5\nhome = A", "line 2, column 8: no value here; words stand in quotes"),
        ("glide =", "line 1, column 1: no value here"),
    ],
)
def test_mistakes_name_file_and_line(text, message):
    with pytest.raises(OptionError) as caught:
        read_settings(text)
    line = str(caught.value)
    assert line.startswith("retune.toml, line ")
    assert message in line
    assert "\n" not in line


def test_a_file_that_is_not_utf8(tmp_path):
    (tmp_path / "retune.toml").write_bytes('glide = 5\nhome = "é"'.encode("latin-1"))
    with pytest.raises(OptionError, match=r"retune\.toml, line 2: not UTF-8 text"):
        settings_here(str(tmp_path))


def test_a_folder_of_this_name(tmp_path):
    (tmp_path / "retune.toml").mkdir()
    with pytest.raises(
        InputError, match="this is a folder; options stand in a file of this name; rename the folder"
    ):
        settings_here(str(tmp_path))


def test_the_mark_some_editors_put_first_is_no_mistake(tmp_path):
    (tmp_path / "retune.toml").write_text("glide = 5", encoding="utf-8-sig")
    assert settings_here(str(tmp_path)).options().glide_ms == 5.0


legal = st.fixed_dictionaries(
    {},
    optional={
        "prime_limit": st.sampled_from(PRIME_LIMITS),
        "drift_limit_cents": st.floats(0, 1200) | st.just(inf),
        "hold_limit_cents": st.floats(0, 1200) | st.just(inf),
        "reference_hz": st.floats(380, 500),
        "home": st.sampled_from(["mean", "tonic", "A", "B♭"]),
        "fixed": st.lists(st.text("aZ 5:-\"'\\\n\t\x00\x7fé𝄞", max_size=8), max_size=3).map(tuple),
        "chords": st.sampled_from(CHORDS),
        "encoding": st.sampled_from(ENCODINGS),
        "bend_range_semitones": st.integers(1, 96),
        "glide_ms": st.floats(0, 1e4),
        "when_full": st.sampled_from(WHEN_FULL),
        "keep_channel_10_free": st.booleans(),
    },
)


@given(preset=st.none() | st.sampled_from(sorted(PRESETS)), values=legal)
def test_what_is_shown_reads_back_as_the_same_options(preset, values):
    wanted = Settings(preset=preset, given=values)
    text = wanted.as_toml()
    assert set(tomllib.loads(text)) == set(NAMES)
    assert read_settings(text).options() == wanted.options()


@settings(max_examples=25)
@given(preset=st.none() | st.sampled_from(sorted(PRESETS)), values=legal)
def test_what_is_typed_gives_the_same_options(preset, values):
    wanted = Settings(preset=preset, given=values).options()
    done = run("convert", "--show-options", *shlex.split(as_arguments(wanted)))
    assert read_settings(done.text).options() == wanted


def test_options_as_by_default_need_no_words():
    assert as_arguments(Options()) == ""
    assert as_arguments(PRESETS["still-lines"](Options())) == "--preset still-lines"
    limits = Options(prime_limit=7, drift_limit_cents=inf, fixed=("Piano", "Organ 2"))
    assert as_arguments(limits) == "--prime-limit 7 --drift-limit none --fixed Piano --fixed 'Organ 2'"


@pytest.fixture
def project(tmp_path, monkeypatch):
    """A current folder with the hymn and a function that writes its retune.toml."""
    monkeypatch.chdir(tmp_path)
    shutil.copy(HYMN, "hymn.mid")
    return lambda text: (tmp_path / "retune.toml").write_text(text, encoding="utf-8")


def shown(*arguments: object) -> Options:
    result = run("convert", "--show-options", *arguments)
    assert (result.status, result.err) == (0, "")
    return read_settings(result.text).options()


def test_the_command_line_goes_before_the_file(project):
    project("drift-limit = 3\nfixed = ['Piano']\nencoding = 'mpe'\n")
    assert shown() == Options(drift_limit_cents=3.0, fixed=("Piano",), encoding="mpe")
    said = shown("--drift-limit", "15", "--fixed", "Organ", "--fixed", "2")
    assert said == Options(drift_limit_cents=15.0, fixed=("Organ", "2"), encoding="mpe")


def test_a_preset_said_on_the_command_line_counts_whole(project):
    project("preset = 'still-lines'\nhold-limit = 2\nglide = 9\n")
    assert shown() == Options(hold_limit_cents=2.0, line_weight=6.0, glide_ms=9.0)
    assert shown("--hold-limit", "4") == Options(hold_limit_cents=4.0, line_weight=6.0, glide_ms=9.0)
    assert shown("--preset", "balanced") == Options(glide_ms=9.0)
    pure = shown("--preset", "pure-chords")
    assert pure == Options(hold_limit_cents=inf, purity_first=True, glide_ms=9.0)


def test_what_is_shown_and_saved_is_in_force_from_then_on(project):
    text = run(
        "convert", "--show-options", "--preset", "still-lines", "--prime-limit", "7", "--glide", "12.5"
    ).text
    project(text)
    assert run("convert", "--show-options").text == text


@pytest.mark.parametrize("command", ["convert", "analyze", "compare"])
def test_the_file_reaches_every_command_that_tunes(project, command):
    project("glide = 5\nprime-limit = 'seven'\n")
    result = run(command, "hymn.mid", *(["-o", "x.mid"] if command == "convert" else []))
    assert result.status == 2
    assert result.err == 'retune: retune.toml, line 2: prime-limit: "seven" is not a whole number\n'


def test_a_conversion_obeys_the_file(project):
    run("convert", "hymn.mid", "-o", "said.mid", "--drift-limit", "0", "--prime-limit", "3")
    project("drift-limit = 0\nprime_limit = 3\n")
    run("convert", "hymn.mid", "-o", "read.mid")
    with open("said.mid", "rb") as said, open("read.mid", "rb") as read:
        assert said.read() == read.read()


def test_a_result_is_checked_at_the_pitch_of_the_project(project):
    """Roots of the hymn lie within the drift limit of A4 = 442 Hz, which is 7.85 cents above 440."""
    project("reference = 442\ndrift-limit = 1\n")
    run("convert", "hymn.mid", "-o", "out.mid")
    here = json.loads(run("check", "hymn.mid", "out.mid", "--json").text)["after"]["displacement_max_cents"]
    given = run("check", "hymn.mid", "out.mid", "--json", "--reference", "440").text
    assert here <= 1.1
    assert json.loads(given)["after"]["displacement_max_cents"] > 6

"""Options that nothing obeys, and long rows of remarks."""

from __future__ import annotations

import io
import json

import mido
import pytest

from tests.cli.inputs import orchestra
from tests.cli.run import HYMN, run


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--encoding", "mts", "--bend-range", "12"), "--bend-range has no effect with --encoding mts"),
        (("--use-channel-10",), "--use-channel-10 has no effect with --encoding bend"),
        (("--glide", "50"), "--glide has no effect: no sounding note moves"),
    ],
)
def test_an_option_without_effect_is_told(options, said, tmp_path):
    result = run("convert", HYMN, "-o", tmp_path / "out.mid", *options)
    assert (result.status, result.err.count("\n")) == (0, 1)
    assert said in result.err


def test_options_that_are_obeyed_are_not_remarked_on(tmp_path):
    out = tmp_path / "out.mid"
    for options in (
        ("--bend-range", "12", "--preset", "pure-chords", "--glide", "50"),
        ("--bend-range", "12", "--encoding", "mpe", "--use-channel-10"),
    ):
        result = run("convert", HYMN, "-o", out, *options)
        assert (result.status, result.err) == (0, "")


def test_a_long_row_of_remarks_of_one_kind_is_cut_short(tmp_path):
    """A bar each would push everything else off the screen; the report has them all."""
    crowded = tmp_path / "crowded.mid"
    music = mido.MidiFile(file=io.BytesIO(orchestra(5, 4)))
    for track in music.tracks:
        track.extend([message.copy() for message in track if message.type.startswith("note")] * 7)
    music.save(crowded)
    result = run("convert", crowded, "-o", tmp_path / "out.mid", "--json")
    full = [remark for remark in json.loads(result.out)["remarks"] if remark["code"] == "channels-full"]
    lines = result.err.splitlines()
    assert len(full) == 8
    assert len(lines) == 6
    assert lines[-1].endswith("and 3 more like these (channels-full)")

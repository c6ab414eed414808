"""A comparison as a picture."""

import struct
from dataclasses import replace
from pathlib import Path

import pytest

from retune.compare import compare
from retune.compare.plot import plot, plot_kind
from retune.errors import OptionError
from retune.pipeline import analyze

SAMPLE = Path(__file__).parents[2] / "sample_scores" / "string_trio.mid"


@pytest.fixture(scope="module")
def trio():
    return compare(analyze(SAMPLE.read_bytes()))


def test_svg_shows_every_tuning_and_both_axes(trio):
    text = plot(trio, "svg").decode()
    assert text.lstrip().startswith("<?xml")
    for tuning in trio.tunings:
        assert f">{tuning.name}<" in text
    assert ">mean deviation from pure [cents]<" in text
    assert ">displacement of the roots [cents]<" in text


def test_png_is_a_picture_of_the_size_asked_for(trio):
    data = plot(trio, "png")
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    assert struct.unpack(">II", data[16:24]) == (
        1500,
        1050,
    )  # width, height in IHDR (PNG specification 11.2.2)


def test_both_panels_count_in_bars(trio):
    """One axis for both, so that a bar stands above its roots; seconds help nobody with a score."""
    text = plot(trio, "svg").decode()
    assert text.count(">bar<") == 1
    assert "time [s]" not in text
    assert trio.window_edges_bars[0] == 1.0
    assert trio.window_edges_bars[-1] == 17.0  # sixteen bars


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_the_same_comparison_gives_the_same_bytes(trio, kind):
    assert plot(trio, kind) == plot(trio, kind)


@pytest.mark.parametrize("title", ["costs $x^$", "夕べの歌", "bell\a\x1b[31m"])
def test_any_title_can_be_drawn(trio, title):
    """Dollar signs are no formula, and a script or sign the font lacks is no error."""
    assert plot(replace(trio, title=title), "png").startswith(b"\x89PNG")


def test_ending_decides_the_kind():
    assert plot_kind("out/a.b.SVG") == "svg"
    assert plot_kind("a.png") == "png"
    with pytest.raises(OptionError, match=r"plot picture.pdf: the name must end in .svg or .png"):
        plot_kind("picture.pdf")

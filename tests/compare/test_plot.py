"""A comparison as a picture."""

import re
import struct
from dataclasses import replace
from pathlib import Path

import pytest

from retune.compare import compare
from retune.compare.plot import picture, plot
from retune.errors import OptionError
from retune.pipeline import analyze
from retune.plots import FORMATS

SAMPLE = Path(__file__).parents[2] / "sample_scores" / "string_trio.mid"


@pytest.fixture(scope="module")
def trio():
    return compare(analyze(SAMPLE.read_bytes()))


def test_every_tuning_and_both_axes_are_shown(trio):
    figure = picture(trio)
    (legend,) = figure.legends
    assert [text.get_text() for text in legend.get_texts()] == [tuning.name for tuning in trio.tunings]
    assert [axes.get_ylabel() for axes in figure.axes] == [
        "mean deviation from pure [cents]",
        "displacement of the roots [cents]",
    ]


def test_png_is_a_picture_of_the_size_asked_for(trio):
    data = plot(trio, "png")
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    assert struct.unpack(">II", data[16:24]) == (
        1500,
        1050,
    )  # width, height in IHDR (PNG specification 11.2.2)


def test_both_panels_count_in_bars(trio):
    """One axis for both, so that a bar stands above its roots; seconds help nobody with a score."""
    assert [axes.get_xlabel() for axes in picture(trio).axes] == ["", "bar"]
    assert trio.window_edges_bars[0] == 1.0
    assert trio.window_edges_bars[-1] == 17.0  # sixteen bars


@pytest.mark.parametrize("form", FORMATS)
def test_the_same_comparison_gives_the_same_bytes(trio, form):
    assert plot(trio, form) == plot(trio, form)


def test_letters_of_an_svg_are_drawn_and_dates_left_out(trio):
    """As in all pictures: no font is asked of who looks at it."""
    text = plot(trio, "svg").decode()
    assert text.lstrip().startswith("<?xml")
    assert "<text" not in text
    assert not re.search(r"<dc:date>|20\d\d-\d\d-\d\dT", text)


@pytest.mark.parametrize("title", ["costs $x^$", "夕べの歌", "bell\a\x1b[31m"])
def test_any_title_can_be_drawn(trio, title):
    """Dollar signs are no formula, and a script or sign the font lacks is no error."""
    assert plot(replace(trio, title=title), "png").startswith(b"\x89PNG")


def test_another_form_is_refused(trio):
    with pytest.raises(OptionError, match=r"form: 'gif' is not one of svg, png, pdf"):
        plot(trio, "gif")

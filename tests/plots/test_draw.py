"""Pictures: what is drawn, and that the same input gives the same bytes."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from math import inf

import numpy as np
import pytest

from retune.errors import OptionError
from retune.options import Options
from retune.plots import FORMATS, KINDS, beats, draw, drift, roll, style
from retune.score import read_score
from retune.units import key_to_hz
from tests.parts.build import HYMN, HYMN_CHORDS, TPQ, score_of, stages

pytest.importorskip("matplotlib")
END = 8 * TPQ


@pytest.fixture(scope="module")
def hymn() -> tuple:
    return stages(score_of(HYMN), HYMN_CHORDS)


def drawn(hymn: tuple, kind: str, **wishes: object) -> bytes:
    return draw(kind, *hymn, Options(), **wishes)


@pytest.mark.parametrize("kind", KINDS)
def test_svg_is_well_formed_without_date_and_the_same_every_time(kind: str, hymn: tuple) -> None:
    first = drawn(hymn, kind, title="A & B <i> $x_1$ \x1b[31m")
    assert ET.fromstring(first).tag == "{http://www.w3.org/2000/svg}svg"
    assert not re.search(rb"<dc:date>|20\d\d-\d\d-\d\dT", first)
    assert drawn(hymn, kind, title="A & B <i> $x_1$ \x1b[31m") == first


@pytest.mark.parametrize("form", FORMATS)
def test_every_form_begins_as_its_standard_says(form: str, hymn: tuple) -> None:
    """PNG: ISO/IEC 15948 clause 5.2; PDF: ISO 32000-1, 7.5.2."""
    starts = {"svg": b"<?xml", "png": b"\x89PNG\r\n\x1a\n", "pdf": b"%PDF-"}
    assert drawn(hymn, "drift", form=form).startswith(starts[form])


def test_a_name_in_a_script_the_font_lacks_is_no_obstacle(hymn: tuple) -> None:
    assert drawn(hymn, "drift", title="夕べの歌")


def test_the_roll_shows_every_note_with_its_offset(hymn: tuple) -> None:
    score, _, _, tuning = hymn
    with style.settings():
        figure = roll.picture(score, tuning, 440.0, 0, END, "")
    notes = figure.axes[0].collections[0]
    assert notes.get_array().tolist() == tuning.offsets["offset_cents"].tolist()
    corners = np.array([path.vertices[:4] for path in notes.get_paths()])
    assert (
        corners[:, :, 0].min(axis=1).tolist() == score.clock.quarters(tuning.offsets["start_tick"]).tolist()
    )
    assert corners[:, :, 1].mean(axis=1) == pytest.approx(score.notes["key"][tuning.offsets["note"]])
    low, high = notes.get_clim()
    assert low == -high
    assert figure.axes[1].get_ylabel() == "cents from equal temperament"


def test_the_roll_counts_from_the_reference(hymn: tuple) -> None:
    score, _, _, tuning = hymn
    with style.settings():
        figure = roll.picture(score, tuning, 442.0, 0, END, "")
    shown = figure.axes[0].collections[0].get_array()
    expected = tuning.offsets["offset_cents"] - 7.85  # 442 Hz lies 7.85 cents over 440 Hz
    np.testing.assert_allclose(np.asarray(shown), expected, atol=0.002)


@pytest.mark.parametrize(("limit", "lines"), [(15.0, {15.0, -15.0, 0.0}), (inf, {0.0})])
def test_the_drift_curve_shows_roots_and_limits(hymn: tuple, limit: float, lines: set[float]) -> None:
    score, harmony, _, tuning = hymn
    with style.settings():
        options = Options(drift_limit_cents=limit)
        axes = drift.picture(score, harmony, tuning, options, 0, END, "").axes[0]
    (stairs,) = (patch for patch in axes.patches)
    assert stairs.get_data().values.tolist() == tuning.displacement_cents.tolist()
    assert {float(line.get_ydata()[0]) for line in axes.lines} == lines


def test_beats_are_counted_and_drawn_as_they_sound(hymn: tuple) -> None:
    """The third of the F chord in bar 2: partial 5 of F3 (174.61 Hz) and 2 of A4 (440 Hz) are 6.93 Hz apart.

    Piano tuners know F3-A3 as 6.93 beats (common practice, no source); an octave higher A keeps the rate.
    """
    score, harmony, ratios, tuning = hymn
    with style.settings():
        figure = beats.picture(score, harmony, ratios, tuning, 440.0, END // 2, END, "")
    f, a = (float(key_to_hz(float(key), 0.0)) for key in (53, 69))
    rate = abs(5 * f - 2 * a)
    assert rate == pytest.approx(6.93, abs=0.005)
    titles = [axes.get_title() for axes in figure.axes]
    assert titles[:2] == [f"equal temperament: {rate:.1f} beats a second", "retuned: no beats"]
    assert figure.axes[0].get_xlabel() == "frequency [Hz]: partial 5 of F3, partial 2 of A4"
    swells = []
    for axes in figure.axes[2:]:
        seconds, loudness = axes.lines[0].get_data()
        inner = (loudness[1:-1] > loudness[:-2]) & (loudness[1:-1] >= loudness[2:])
        deep = (loudness.max() - loudness.min()) / loudness.max() > 0.1
        swells.append(int(inner.sum()) / (seconds[-1] - seconds[0]) if deep else 0.0)
    assert swells == [pytest.approx(rate, abs=0.7), 0.0]


def test_both_takes_beat_at_the_reference(hymn: tuple) -> None:
    """At 415.3 Hz everything is a semitone lower, so F3–A3 beats like E3–G♯3, 2 ** (1/12) times slower."""
    score, harmony, ratios, tuning = hymn
    low = replace(tuning, offsets=tuning.offsets.copy())
    low.offsets["offset_cents"] -= 100.0
    with style.settings():
        figure = beats.picture(score, harmony, ratios, low, 440.0 * 2 ** (-1 / 12), END // 2, END, "")
    titles = [axes.get_title() for axes in figure.axes]
    assert titles[:2] == [
        f"equal temperament: {6.93 * 2 ** (-1 / 12):.1f} beats a second",
        "retuned: no beats",
    ]
    assert figure.axes[0].get_xlim() == pytest.approx(figure.axes[1].get_xlim())


def test_two_peaks_before_and_one_after(hymn: tuple) -> None:
    score, harmony, ratios, tuning = hymn
    with style.settings():
        figure = beats.picture(score, harmony, ratios, tuning, 440.0, END // 2, END, "")
    peaks = []
    for axes in figure.axes[:2]:
        _, level = axes.lines[0].get_data()
        inner = level[1:-1]
        peaks.append(int(((inner > level[:-2]) & (inner >= level[2:]) & (inner > -30.0)).sum()))
    assert peaks == [2, 1]


def test_a_seventh_does_not_beat_into_the_picture(samples: dict[str, bytes]) -> None:
    """Partial 11 of the C in D7 (1466 Hz) lies near the partials of D and F♯ that meet (1481 Hz)."""
    score, *rest = stages(read_score(samples["evening_hymn"]))
    with style.settings():
        figure = beats.picture(score, *rest, 440.0, 0, score.end_tick, "")
    assert "root and third of D dominant seventh" in str(figure.get_suptitle())
    _, loudness = figure.axes[3].lines[0].get_data()
    assert (loudness.max() - loudness.min()) / loudness.max() < 0.01


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("notes", "wishes"),
    [([(0.0, 0.0, 60)], {}), ([(0.0, 1.0, 60), (16.0, 1.0, 64)], {"first_bar": 3})],
)
def test_silence_is_not_drawn(kind: str, notes: list, wishes: dict) -> None:
    """A note of no length; a bar of rest between others."""
    silent = stages(score_of({"voice": notes}))
    with pytest.raises(OptionError, match="nothing to draw: no note sounds there"):
        drawn(silent, kind, **wishes)


@pytest.mark.parametrize(
    ("kind", "wishes", "message"),
    [
        ("pie", {}, "kind: 'pie' is not one of roll, drift, beats"),
        ("roll", {"form": "gif"}, "form: 'gif' is not one of svg, png, pdf"),
        ("roll", {"first_bar": 9}, "bar 9: no notes there; the music has bars 1 to 2"),
        ("roll", {"first_bar": 2, "last_bar": 1}, "bars 2-1: no notes there"),
    ],
)
def test_what_cannot_be_drawn_is_said(
    kind: str, wishes: dict[str, object], message: str, hymn: tuple
) -> None:
    with pytest.raises(OptionError, match=message):
        drawn(hymn, kind, **wishes)


def test_a_piece_without_chords_has_no_beats_to_draw() -> None:
    with pytest.raises(OptionError, match="beats: no chord with a root and a third sounds there"):
        drawn(stages(score_of({"Solo": [(0.0, 4.0, 60)]})), "beats")


def luminance(colour: np.ndarray) -> float:
    """Relative luminance (WCAG 2.1, definition)."""
    return float(linear(colour) @ [0.2126, 0.7152, 0.0722])


def linear(colour: np.ndarray) -> np.ndarray:
    return np.where(colour <= 0.03928, colour / 12.92, ((colour + 0.055) / 1.055) ** 2.4)


# What dichromats see of linear RGB: Viénot, Brettel & Mollon, "Digital video colourmaps for checking the legibility
# of displays by dichromats", Color Research & Application 24 (1999); the numbers are from memory.
DICHROMATS = {
    "deuteranope": [[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]],
    "protanope": [[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]],
}


@pytest.mark.parametrize("eye", DICHROMATS)
def test_colours_of_low_and_high_differ_for_colour_blind_eyes(eye: str) -> None:
    scale = style.colours()
    for share in (0.0, 0.15, 0.3):
        low, high = (linear(np.array(scale(x)[:3])) for x in (share, 1.0 - share))
        seen = [np.array(DICHROMATS[eye]) @ colour for colour in (low, high)]
        blueness = [colour[2] - colour[0] for colour in seen]
        assert blueness[0] < 0.0  # amber: lower
        assert blueness[1] > 0.08  # blue: higher


def test_ends_stand_out_from_the_middle_and_both_sides_darken_evenly() -> None:
    scale = style.colours()
    levels = np.array([luminance(np.array(scale(x)[:3])) for x in np.linspace(0.0, 1.0, 41)])
    assert (np.diff(levels[:21]) > 0).all()
    assert (np.diff(levels[20:]) < 0).all()
    for end in (0, -1):  # contrast ratio, WCAG 2.1
        assert (levels[20] + 0.05) / (levels[end] + 0.05) > 7.0


def test_bars_are_numbered_where_phrases_begin() -> None:
    """Phrases of four or eight bars are the commonest (common practice, no source)."""
    score, _, _, tuning = stages(score_of({"Part": [(4.0 * bar, 4.0, 60) for bar in range(72)]}))
    with style.settings():
        figure = roll.picture(score, tuning, 440.0, 0, 72 * 4 * TPQ, "")
    assert [label.get_text() for label in figure.axes[0].get_xticklabels()] == [
        str(bar) for bar in range(1, 74, 4)
    ]

"""The page as text: what it holds, what it must never hold, how large it grows."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from importlib.resources import files

import numpy as np
import pytest

from retune.options import Options
from retune.page import build_page
from retune.page.build import script_json
from retune.page.words import figure_rows, plan_name, temperament_words
from retune.pipeline import Analysis, analyze, tune
from retune.tuning import Tuning
from retune.tuning.fixed import fixed_tuning
from retune.tuning.temperaments import temperament
from tests.page.conftest import SAMPLES

HOSTILE = "</script><script>alert(1)</script><img src=x onerror=alert(2)>&\"'\u2028<!--"


def page_data(page: str) -> dict:
    """The block of data in a page, as a browser would read it."""
    found = re.search(r'<script type="application/json" id="music-data">(.*?)</script>', page, re.DOTALL)
    assert found
    return json.loads(found[1])


class Elements(HTMLParser):
    """Collects tags, their attributes and the text between them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict]] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


def test_json_in_a_script_cannot_end_it_and_reads_back():
    text = script_json({"name": HOSTILE, "lone": "\ud800"})
    assert not set("<>&\u2028") & set(text)
    assert json.loads(text)["name"] == HOSTILE


def test_offsets_on_the_page_are_those_of_the_tuning(hymn: tuple[Analysis, Tuning]):
    analysis, tuning = hymn
    data = page_data(build_page(analysis, tuning))
    retuned = next(entry for entry in data["tunings"] if entry["id"] == "retuned")
    cents = np.array(retuned["cents"]) / 1000
    np.testing.assert_allclose(cents, tuning.offsets["offset_cents"], atol=0.0006)
    onsets = np.cumsum(data["notes"]["step"])
    np.testing.assert_array_equal(onsets, analysis.score.notes["onset_tick"])
    later = tuning.offsets[tuning.offsets["start_tick"] > onsets[tuning.offsets["note"]]]
    np.testing.assert_array_equal(retuned["later"], later["start_tick"] - onsets[later["note"]])


def test_every_named_temperament_is_there_as_twelve_numbers(hymn: tuple[Analysis, Tuning]):
    data = page_data(build_page(*hymn))
    by_id = {entry["id"]: entry for entry in data["tunings"]}
    np.testing.assert_allclose(by_id["original"]["classes"], np.zeros(12))
    # E over C in quarter-comma meantone is pure, 386.31 cents (Barbour 1951): E lies 13.69 below C's offset.
    classes = by_id["quarter-comma-meantone"]["classes"]
    assert classes[4] - classes[0] == pytest.approx(-13.686, abs=0.001)
    assert by_id["quarter-comma-meantone"]["name"] == "Quarter comma meantone"


def test_another_fixed_tuning_shrinks_to_twelve_numbers_and_a_solved_one_does_not(
    hymn: tuple[Analysis, Tuning],
):
    analysis, tuning = hymn
    fixed = fixed_tuning(analysis.score, analysis.harmony, temperament("vallotti"))
    data = page_data(build_page(analysis, tuning, others={"a house organ": fixed, "solved": tuning}))
    by_name = {entry["name"]: entry for entry in data["tunings"]}
    used = sorted({int(key) % 12 for key in analysis.score.notes["key"]})
    np.testing.assert_allclose(
        np.array(by_name["a house organ"]["classes"])[used], temperament("vallotti")[used], atol=1e-3
    )
    assert len(by_name["solved"]["cents"]) == len(tuning.offsets)


def test_same_input_gives_the_same_page(hymn: tuple[Analysis, Tuning]):
    assert build_page(*hymn) == build_page(*hymn)


def test_hostile_names_stay_text(midi: Callable[..., bytes]):
    data = midi({HOSTILE.replace("\u2028", ""): [(0, 4, 60), (0, 4, 64), (0, 4, 67)]})
    analysis = analyze(data, Options())
    tuning = tune(analysis)
    given = replace(
        tuning,
        compromises=(
            *tuning.compromises,
            *hostile_compromise(),
        ),
    )
    clean = Elements(build_page(analysis, tuning, title="Clean"))
    page = Elements(build_page(analysis, given, title=HOSTILE, others={HOSTILE: tuning}))
    names = [tag for tag, _ in page.tags]
    assert names.count("script") == [tag for tag, _ in clean.tags].count("script") == 2
    assert "img" not in names
    assert not [name for _, attributes in page.tags for name in attributes if name.startswith("on")]
    assert "<img src=x onerror=alert(2)>" in page.text


def hostile_compromise() -> tuple:
    from retune.tuning.model import Compromise

    return (Compromise(tick=0, notes=(0, 1), window=0, cents=3.0, reason=HOSTILE),)


def test_page_asks_for_nothing_from_outside(hymn: tuple[Analysis, Tuning]):
    elements = Elements(build_page(*hymn))
    for tag, attributes in elements.tags:
        assert tag not in ("link", "iframe", "object", "embed", "base")
        assert not attributes.get("src")
        assert not attributes.get("style"), "the content policy admits no style attributes"
        assert not re.match(r"[a-z]+:", attributes.get("href") or "")
    policy = next(
        a["content"] for tag, a in elements.tags if a.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy.startswith("default-src 'none'")


def test_a_song_of_four_minutes_stays_small(midi: Callable[..., bytes]):
    """Eight parts, 240 quarters at 60 to the minute, a chord a quarter and a moving line: some 3800 notes."""
    chords = [(60, 64, 67, 72), (57, 60, 64, 69), (62, 65, 69, 74), (55, 59, 62, 67)]
    parts = {
        f"Voice {voice}": [(t, 1, chords[t // 2 % 4][voice % 4] + 12 * (voice // 4)) for t in range(240)]
        for voice in range(8)
    }
    parts["Line"] = [(t / 8, 1 / 8, 72 + (0, 2, 4, 5, 7, 5, 4, 2)[t % 8]) for t in range(1920)]
    analysis = analyze(midi(parts), Options())
    page = build_page(analysis, tune(analysis))
    assert len(analysis.score.notes) == 3840
    assert len(page.encode()) < 1_500_000


@pytest.mark.parametrize(
    ("title", "name"),
    [
        ("Lanterns on the Water", "lanterns-on-the-water.plan.toml"),
        ("../../etc/x", "etc-x.plan.toml"),
        ("日本", "music.plan.toml"),
        ("", "music.plan.toml"),
    ],
)
def test_plan_name_is_a_plain_file_name(title: str, name: str):
    assert plan_name(title) == name


def test_temperament_names_read_as_people_write_them():
    assert temperament_words("werckmeister-iii") == "Werckmeister III"
    assert temperament_words("just on D") == "Just on D"


# Simulation of colour blindness, linear RGB (Machado, Oliveira and Fernandes, IEEE TVCG 15(6), 2009, severity 1;
# matrices from memory).
COLOUR_BLIND = {
    "none": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
SRGB_TO_XYZ = np.array(  # IEC 61966-2-1
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)


def lab(rgb: np.ndarray, sight: np.ndarray) -> np.ndarray:
    """CIE L*a*b* (1976) of an sRGB colour as seen with a kind of sight."""
    share = rgb / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    xyz = SRGB_TO_XYZ @ np.clip(sight @ linear, 0, 1) / (SRGB_TO_XYZ @ np.ones(3))
    f = np.where(xyz > 216 / 24389, np.cbrt(xyz), (24389 / 27 * xyz + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("sight", COLOUR_BLIND)
def test_flat_tempered_and_sharp_stay_apart_for_colour_blind_readers(sight: str):
    """A difference of 2.3 is just noticeable (CIE 1976); ten times that is asked for."""
    script = files("retune.page").joinpath("assets", "paint.js").read_text(encoding="utf-8")
    found = re.findall(r"flat: \[(.*?)\], zero: \[(.*?)\], sharp: \[(.*?)\]", script)
    assert len(found) == 2, "light and dark"
    for look in found:
        flat, zero, sharp = (
            lab(np.array([float(c) for c in colour.split(",")]), COLOUR_BLIND[sight]) for colour in look
        )
        for one, other in ((flat, zero), (zero, sharp), (flat, sharp)):
            assert np.linalg.norm(one - other) > 23


def test_figures_count_from_the_reference():
    """A choir at 415 Hz is a semitone low (101.3 cents), and its roots are no further from their places for that."""
    tables = []
    for reference_hz in (440.0, 415.0):
        analysis = analyze(
            (SAMPLES / "close_harmony_tag.mid").read_bytes(), Options(reference_hz=reference_hz)
        )
        tables.append(figure_rows(analysis, tune(analysis)))
    assert tables[0] == tables[1]
    assert "15.0" in {row.after for row in tables[0]}

"""Lower and higher have the same colours on the page, on sheets and in pictures."""

from __future__ import annotations

import json
import re
from pathlib import Path

import retune.page
from retune.colours import HIGHER, LOW_TO_HIGH, LOWER, ZERO
from retune.parts import write_sheets
from tests.parts.build import HYMN, HYMN_CHORDS, score_of, sheets_of

PAINT = Path(retune.page.__file__).parent / "assets" / "paint.js"


def test_the_page_draws_with_the_colours_of_sheets_and_pictures() -> None:
    light = PAINT.read_text("utf-8").split("light: {", 1)[1].split("}", 1)[0]
    found = {name: json.loads(numbers) for name, numbers in re.findall(r"(\w+): (\[[^]]*\])", light)}
    as_hex = {name: "#" + bytes(numbers).hex() for name, numbers in found.items()}
    assert as_hex == {"flat": LOWER, "zero": ZERO, "sharp": HIGHER}


def test_a_sheet_sets_lower_and_higher_in_these_colours() -> None:
    score = score_of(HYMN)
    text = write_sheets(score, sheets_of(score, HYMN_CHORDS), "html").decode()
    colours = dict(re.findall(r"^ *\.(lower|higher) \.cents \{ color: (#\w+); \}", text, re.MULTILINE))
    assert colours == {"lower": LOWER, "higher": HIGHER}


def test_pictures_run_from_lower_to_higher() -> None:
    middle = len(LOW_TO_HIGH) // 2
    assert LOW_TO_HIGH.index(LOWER) < middle < LOW_TO_HIGH.index(HIGHER)

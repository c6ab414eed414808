"""The chord table as people read it."""

from pathlib import Path

import sympy

from retune.harmony.vocabulary import CHORD_TYPES
from retune.ratios.document import page, rows
from retune.ratios.table import CHORD_ROWS

DOCS = Path(__file__).parents[2] / "docs"


def test_docs_page_is_not_stale():
    """Print it again with `python -m retune.ratios.document > docs/ratios.md`."""
    assert (DOCS / "ratios.md").read_text(encoding="utf-8") == page()


def test_every_chord_type_and_every_row_is_listed():
    listed = {(row.symbol, row.prime_limit): row for row in rows()}
    assert {symbol for symbol, _ in listed} == {kind.symbol for kind in CHORD_TYPES}
    assert {(row.symbol, row.prime_limit) for row in CHORD_ROWS} <= set(listed)
    assert all(listed[row.symbol, row.prime_limit].source == row.source for row in CHORD_ROWS)


def test_cents_belong_to_the_ratios_shown():
    for row in rows():
        for step, tone, cents, deviation in zip(row.steps, row.tones, row.cents, row.deviations, strict=True):
            exact = 1200 * sympy.log(sympy.Rational(tone), 2)
            assert abs(exact - cents) < 1e-9
            assert abs(exact - 100 * step - deviation) < 1e-9

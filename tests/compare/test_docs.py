"""docs/comparing.md says what the program does."""

import re
from pathlib import Path

import numpy as np

from retune.check.measures.figures import Figures
from retune.cli.compare import HEADERS
from retune.tuning.temperaments import TEMPERAMENTS, parse_temperament, temperament

PAGE = (Path(__file__).parents[2] / "docs" / "comparing.md").read_text(encoding="utf-8")


def test_every_column_and_figure_is_explained_in_order():
    rows = re.findall(r"^\| ([^|`]+?) \| `(\w+)` \|", PAGE, flags=re.MULTILINE)
    columns, names = zip(*rows, strict=True)
    assert columns == HEADERS[1:]
    assert names == (*Figures.__dataclass_fields__, "beats_per_second", "roughness", "worst_bars")


def test_every_temperament_is_named():
    assert all(f"`{name}`" in PAGE for name in TEMPERAMENTS)


def test_the_example_temperament_is_what_it_says():
    """The numbers shown are those of quarter-comma meantone (Aron 1523)."""
    example = re.search(r"```toml\n(.*?)```", PAGE, flags=re.DOTALL)[1]
    assert np.abs(parse_temperament(example) - temperament("quarter-comma-meantone")).max() < 0.0101

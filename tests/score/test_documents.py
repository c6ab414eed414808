"""docs/damaged-files.md names every code the score stage uses, and no other."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_page_and_program_name_the_same_codes() -> None:
    page = (ROOT / "docs/damaged-files.md").read_text(encoding="utf-8")
    listed = set(re.findall(r"^\| `([a-z-]+)` \|", page, re.MULTILINE))
    source = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "retune/score").glob("*.py"))
    used = set(re.findall(r'code="([a-z-]+)"|(?:mends\.note|Mend)\(\s*"([a-z-]+)"', source))
    assert {code for pair in used for code in pair if code} == listed

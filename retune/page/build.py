"""Put the page together: template, looks and programs from `assets`, the music as one block of JSON."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from retune import __version__
from retune.page.music import music_data
from retune.page.words import fact_line, figure_rows, page_title, place_rows

if TYPE_CHECKING:
    from retune.pipeline import Analysis
    from retune.tuning.model import Tuning

SCRIPTS = ("score.js", "audio.js", "paint.js", "roll.js", "edit.js", "panel.js", "print.js", "main.js")
"""In the order they are joined; they share one scope."""


def build_page(
    analysis: Analysis, tuning: Tuning, *, title: str | None = None, others: Mapping[str, Tuning] = {}
) -> str:
    """Return a self-contained HTML page that plays, shows and lets the reader change a tuning.

    Parameters
    ----------
    analysis : Analysis
        Score, harmony, ratios and options of the piece.
    tuning : Tuning
        The retuned piece.
    title : str or None
        Heading of the page; the score's own title if None.
    others : mapping of name to Tuning
        More tunings to switch to, beside equal temperament and the named temperaments, which every page has.

    """
    from jinja2 import Environment, PackageLoader
    from markupsafe import Markup

    heading = page_title(analysis, title)
    style = _asset("page.css")
    script = _script()
    environment = Environment(
        loader=PackageLoader("retune.page", "assets"), autoescape=True, keep_trailing_newline=True
    )
    return environment.get_template("page.html").render(
        title=heading,
        facts=fact_line(analysis),
        figures=figure_rows(analysis, tuning),
        compromises=place_rows(analysis, tuning.compromises),
        shifts=place_rows(analysis, tuning.shifts),
        has_chords=bool(len(analysis.harmony.windows)),
        reference=f"{analysis.options.reference_hz:g}",
        version=__version__,
        style=Markup(style),
        script=Markup(script),
        style_hash=_source_hash(style),
        script_hash=_source_hash(script),
        data=Markup(script_json(music_data(analysis, tuning, heading, others))),
    )


def script_json(value: Any) -> str:
    """Return JSON that is safe inside a script element: nothing in it can end the element or start another."""
    text = json.dumps(value, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _asset(name: str) -> str:
    return files("retune.page").joinpath("assets", name).read_text(encoding="utf-8")


def _script() -> str:
    """Return the page's programs as one, closed off from the rest of the page."""
    body = "\n".join(_asset(name) for name in SCRIPTS)
    return f'(() => {{\n"use strict";\n{body}}})();\n'


def _source_hash(text: str) -> str:
    """Return the hash by which the page's content policy admits this text (CSP Level 3, W3C)."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()

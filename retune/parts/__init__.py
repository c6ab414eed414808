"""Sheets for singers and players: score, harmony, ratios and tuning in; cents at every note out.

The sheets are collected once; each writer (printable page, tables, MusicXML) only lays them out.
"""

from retune.parts.collect import collect_sheets
from retune.parts.model import Sheet, SheetNote, SheetOptions, Sheets
from retune.parts.write import KINDS, write_sheets

__all__ = ["KINDS", "Sheet", "SheetNote", "SheetOptions", "Sheets", "collect_sheets", "write_sheets"]

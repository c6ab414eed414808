"""Pictures for papers and lessons: score, harmony and tuning in; the bytes of an SVG, PNG or PDF out.

Needs matplotlib (extra `plots`). The same input gives the same SVG, byte for byte.
"""

from retune.plots.draw import KINDS, draw
from retune.plots.style import FORMATS

__all__ = ["FORMATS", "KINDS", "draw"]

"""Fewest retunings: harmony and ratios → passages that one fixed table of offsets can serve.

For instruments that can only be retuned between passages: a keyboard with a twelve-note table, a harp, the
strings of a guitar. A consumer of the analysis; it adds no second road.
"""

from retune.passages.find import find_passages
from retune.passages.model import Passage, Passages

__all__ = ["Passage", "Passages", "find_passages"]

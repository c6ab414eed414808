"""Windows in, exact ratios out: which whole-number chord each window is tuned to.

In: `Harmony` and a prime limit, with tables of the user's own if given. Out: `Ratios`, a table of twelve
integer ratios above the root for each window. Kept apart from tuning so that ratios stay exact and readable.
"""

from retune.ratios.choose import choose_ratios
from retune.ratios.model import Ratios, RatioTable
from retune.ratios.parse import parse_table

__all__ = ["RatioTable", "Ratios", "choose_ratios", "parse_table"]

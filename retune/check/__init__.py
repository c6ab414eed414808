"""The check: written bytes (and the original) → what a receiver sounds, and whether it is what was meant.

It reads bytes as a receiver would and shares nothing with `retune.encode`, or it would prove nothing.
"""

from retune.check.measures.figures import Figures, figures, figures_of_tuning
from retune.check.receiver.decode import decode, decode_score
from retune.check.receiver.sounding import Sounding
from retune.check.report import CheckReport
from retune.check.verify import ALLOWED_ERROR_CENTS, check

__all__ = [
    "ALLOWED_ERROR_CENTS",
    "CheckReport",
    "Figures",
    "Sounding",
    "check",
    "decode",
    "decode_score",
    "figures",
    "figures_of_tuning",
]

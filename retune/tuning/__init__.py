"""Score + harmony + ratios → an offset for every note.

In: the notes, the windows, their exact ratios. Out: `Tuning`, offsets in cents from equal temperament.
The whole piece is solved at once (`solve`); fixed temperaments and tables are tunings too (`fixed`).
"""

from retune.tuning.compromises import find_compromises
from retune.tuning.glide import glided
from retune.tuning.model import Compromise, Tuning
from retune.tuning.shifts import find_shifts
from retune.tuning.solve import solve_tuning

__all__ = ["Compromise", "Tuning", "find_compromises", "find_shifts", "glided", "solve_tuning"]

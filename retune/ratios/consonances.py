"""What counts as a pure consonance under a prime limit, whatever the chord."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from retune.units import ratio_to_cents

Forms = dict[int, tuple[int, int]]

SENARIO: Forms = {0: (1, 1), 3: (6, 5), 4: (5, 4), 5: (4, 3), 7: (3, 2), 8: (8, 5), 9: (5, 3)}
"""Pure ratio of each consonant interval class in semitones: the true forms on which Renaissance writers agree
(Zarlino 1558, after R. Duffin, *MTO* 12.3, 2006)."""
PYTHAGOREAN: Forms = SENARIO | {3: (32, 27), 4: (81, 64), 8: (128, 81), 9: (27, 16)}
"""Their forms by pure fifths alone (J. M. Barbour, *Tuning and Temperament*, 1951)."""
SEPTIMAL: Forms = {3: (7, 6), 4: (9, 7), 8: (14, 9), 9: (12, 7)}
"""The second form of thirds and sixths, by the seventh harmonic (H. Helmholtz, tr. A. J. Ellis, *On the Sensations of
Tone*, 2nd English ed. 1885, App. XX)."""

USUAL_PRIME_LIMIT = 5


def forms(prime_limit: int) -> tuple[Forms, ...]:
    """The consonances of a prime limit, the usual form first."""
    if prime_limit == 3:
        return (PYTHAGOREAN,)
    return (SENARIO,) if prime_limit < 7 else (SENARIO, SEPTIMAL)


@cache
def pure_deviations(prime_limit: int) -> NDArray[np.float64]:
    """(n_forms, 12) cents each consonance lies from its equal-tempered size; nan where a class has no such form."""
    table = np.full((len(forms(prime_limit)), 12), np.nan)
    for row, ratios in zip(table, forms(prime_limit), strict=True):
        for semitones, ratio in ratios.items():
            row[semitones] = ratio_to_cents(*ratio) - 100.0 * semitones
    table.flags.writeable = False
    return table

"""What counts as pure, against published tables."""

import numpy as np
import pytest

from retune.ratios.consonances import PYTHAGOREAN, SENARIO, SEPTIMAL, forms, pure_deviations
from retune.ratios.intervals import reduced


@pytest.mark.parametrize(
    ("prime_limit", "form", "published"),
    [
        # Ellis in Helmholtz 1885, App. XX: cents of the just consonances, of the septimal ones, of those by fifths.
        (5, 0, {0: 0.0, 3: 315.64, 4: 386.31, 5: 498.04, 7: 701.96, 8: 813.69, 9: 884.36}),
        (7, 1, {3: 266.87, 4: 435.08, 8: 764.92, 9: 933.13}),
        (3, 0, {0: 0.0, 3: 294.13, 4: 407.82, 5: 498.04, 7: 701.96, 8: 792.18, 9: 905.87}),
    ],
)
def test_sizes_are_the_published_ones(prime_limit, form, published):
    sizes = pure_deviations(prime_limit)[form] + 100.0 * np.arange(12)
    assert {k: round(float(sizes[k]), 2) for k in np.flatnonzero(~np.isnan(sizes))} == pytest.approx(
        published, abs=0.006
    )


def test_what_counts_is_within_the_prime_limit():
    assert [len(forms(limit)) for limit in (3, 5, 7, 11, 13)] == [1, 1, 2, 2, 2]


@pytest.mark.parametrize("form", [SENARIO, PYTHAGOREAN, SEPTIMAL])
def test_inversions_of_consonances_are_consonances(form):
    for semitones, (numerator, denominator) in form.items():
        if semitones:
            assert form[12 - semitones] == reduced(2 * denominator, numerator)

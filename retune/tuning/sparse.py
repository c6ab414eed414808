"""The sparse-matrix library, imported without what it never uses."""

from __future__ import annotations

from typing import Any

import numpy as np

UNUSED = ("f2py", "testing")
"""Parts of NumPy that SciPy names but never calls in what we use: a Fortran compiler driver and a test kit."""


def csc_matrix(*args: Any, **options: Any) -> Any:
    """`scipy.sparse.csc_matrix`, with SciPy imported at the first call.

    SciPy copies all public names of NumPy when it is imported, and asking NumPy for the parts above would
    load them: a fifth of the start-up time of a conversion. While SciPy is imported their names stand for
    None; afterwards they are what they were.
    """
    absent = [name for name in UNUSED if name not in vars(np)]
    for name in absent:
        setattr(np, name, None)
    try:
        from scipy.sparse import csc_matrix as matrix
    finally:
        for name in absent:
            delattr(np, name)
    return matrix(*args, **options)

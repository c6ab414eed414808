"""The factorisation without SciPy, and SciPy as ever for everybody else."""

import subprocess
import sys

import numpy as np
import pytest

from retune.tuning.laplacian import Laplacian


def run(code: str) -> None:
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


SOLVE = """
import sys, numpy as np
from retune.tuning.laplacian import Laplacian
from retune.tuning.sparse import without_scipy
matrix = Laplacian(2, np.array([0, 0]), np.array([1]))
with without_scipy():
    matrix.factor(np.array([1.0, 2.0]), np.array([0.0, 3.0]))
    matrix.factor(np.array([2.0, 1.0]), np.array([0.0, 1.0]))
assert abs(matrix.solve(np.array([3.0, -2.0])) - [5 / 5, 0.0]).max() < 1e-9  # [[3, -2], [-2, 3]]
"""


def test_scipy_is_not_loaded_and_still_there():
    run(
        SOLVE + "assert not [name for name in sys.modules if name.split('.')[0] == 'scipy']\n"
        "import scipy.sparse\n"
        "assert scipy.sparse.isspmatrix_csc(scipy.sparse.csc_matrix(np.eye(3)))\n"
    )


def test_scipy_that_is_there_is_left_alone():
    run("import scipy.sparse as before\n" + SOLVE + "import scipy.sparse as after\nassert before is after\n")


@pytest.mark.parametrize(
    "imports",
    [
        "import scipy.sparse",
        "import scipy.sparse as sparse",
        "from scipy.sparse import csc_matrix",
        "import scipy.sparse.linalg",
        "from scipy import sparse, optimize",
    ],
)
def test_scipy_can_be_imported_while_another_thread_factors(imports):
    run(
        "from retune.tuning.sparse import without_scipy\n"
        f"with without_scipy():\n    {imports}\n    import scipy.sparse\n"
        "    assert scipy.sparse.isspmatrix_csc(scipy.sparse.csc_matrix([[1.0]]))\n"
        f"{imports}\nimport scipy.sparse, scipy.sparse.linalg, scipy.optimize\n"
        "assert scipy.sparse.linalg.splu(scipy.sparse.csc_matrix([[2.0]])).solve(__import__('numpy').ones(1)) == 0.5\n"
        "assert 'file' in repr(scipy) or 'scipy' in scipy.__file__\n"
    )


def test_the_matrix_is_the_sum_of_its_rows():
    rng = np.random.default_rng(7)
    size, linked, alone = 30, 120, 25
    first = rng.integers(0, size, linked + alone)
    second = (first[:linked] + rng.integers(1, size, linked)) % size
    weight, extra = rng.uniform(0.1, 3.0, linked + alone), rng.uniform(0.1, 1.0, size)
    dense = np.diag(extra)
    for row, (a, w) in enumerate(zip(first, weight, strict=True)):
        e = np.zeros(size)
        e[a] = 1.0
        if row < linked:
            e[second[row]] = -1.0
        dense += w * np.outer(e, e)
    right = rng.normal(size=size)
    matrix = Laplacian(size, first, second)
    for scale in (1.0, 2.5):
        matrix.factor(scale * weight, scale * extra)
        assert np.allclose(matrix.solve(right), np.linalg.solve(scale * dense, right), rtol=1e-8)

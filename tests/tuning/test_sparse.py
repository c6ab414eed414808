"""SciPy comes without NumPy's Fortran driver, and NumPy is whole again afterwards."""

import subprocess
import sys


def test_what_is_never_used_is_not_loaded_and_still_there():
    code = (
        "import sys, numpy\n"
        "from retune.tuning.sparse import csc_matrix\n"
        "assert csc_matrix(numpy.eye(3)).nnz == 3\n"
        "assert 'numpy.f2py' not in sys.modules and 'numpy.testing' not in sys.modules\n"
        "assert numpy.testing.assert_equal and numpy.f2py.get_include\n"
    )
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr

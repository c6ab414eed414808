"""A sparse matrix for the factorisation, which does not need SciPy for it."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray


class UpperTriangle:
    """Upper triangle of a symmetric matrix by compressed columns, with the names the factorisation reads."""

    def __init__(
        self, data: NDArray[np.float64], indices: NDArray[np.int64], indptr: NDArray[np.int64]
    ) -> None:
        """Row numbers (`indices`) and values of column k are those from `indptr[k]` up to `indptr[k + 1]`."""
        self.data, self.indices, self.indptr = data, indices, indptr
        self.shape = len(indptr) - 1, len(indptr) - 1
        self.nnz = len(data)


@contextmanager
def without_scipy() -> Iterator[None]:
    """Let the factorisation run without an import of SciPy, which it makes only to ask for a matrix's kind.

    That import would take a fifth of the processor time of a whole conversion of a short file. If SciPy is not
    there yet, modules that load it when anything else is asked of them stand for it meanwhile, so that other
    threads may import it at any time.
    """
    names = [name for name in ("scipy", "scipy.sparse") if name not in sys.modules]
    standing = {name: _Later(name) for name in names}
    sys.modules.update(standing)
    try:
        yield
    finally:
        for module in standing.values():
            module.give_way()


class _Later(ModuleType):
    """A module that is imported when something is asked of it."""

    def isspmatrix_csc(self, matrix: object) -> bool:
        """What the factorisation asks of `scipy.sparse`."""
        return isinstance(matrix, UpperTriangle) or bool(self.__getattr__("isspmatrix_csc")(matrix))

    def give_way(self) -> None:
        """Leave the table of modules, if this still stands there."""
        if sys.modules.get(self.__name__) is self:
            del sys.modules[self.__name__]

    def __getattr__(self, name: str) -> Any:
        """What the real module has; only `__path__` of the names that Python itself looks for everywhere."""
        if name.startswith("__") and name != "__path__":
            raise AttributeError(name)
        self.give_way()
        return getattr(importlib.import_module(self.__name__), name)

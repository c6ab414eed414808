"""A way to say results past the capture of pytest."""

from __future__ import annotations

from collections.abc import Callable

import pytest


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str]) -> Callable[[str], None]:
    """Print a line on the terminal."""

    def line(text: str) -> None:
        with capsys.disabled():
            print(f"\n{text}", end="")

    return line

"""Shared by all tests."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def samples() -> dict[str, bytes]:
    """The sample scores, name → bytes."""
    folder = Path(__file__).parents[1] / "sample_scores"
    return {path.stem: path.read_bytes() for path in sorted(folder.glob("*.mid"))}

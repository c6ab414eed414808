"""Shared by all tests."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

CHROMIUM_ARGUMENTS = [
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def samples() -> dict[str, bytes]:
    """The sample scores, name → bytes."""
    folder = Path(__file__).parents[1] / "sample_scores"
    return {path.stem: path.read_bytes() for path in sorted(folder.glob("*.mid"))}


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Chromium, started once for all tests: playwright runs once in a process."""
    program = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if program is None:
        pytest.skip("no chromium found on the path")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=program, args=CHROMIUM_ARGUMENTS)
        yield chromium
        chromium.close()

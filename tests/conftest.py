"""Shared by all tests."""

from __future__ import annotations

import os
import shutil
import signal
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

# A busy machine is slow for reasons of its own: how long an example takes decides nothing. One run of CI is to
# say the same as the next; elsewhere every run tries something new.
settings.register_profile(
    "ours",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=bool(os.environ.get("RETUNE_SAME_EXAMPLES")),
)
settings.load_profile("ours")

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


def pytest_configure() -> None:
    """Have signals end what they end: a shell, or nohup, starts what runs in its background with some ignored.

    What is ignored stays so in every program started from here, and those a test stops would never end.
    """
    for name, usual in (
        ("SIGINT", signal.default_int_handler),
        ("SIGTERM", signal.SIG_DFL),
        ("SIGHUP", signal.SIG_DFL),
    ):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is signal.SIG_IGN:
            signal.signal(number, usual)


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


NOBODY = 65534  # by custom the user without rights


@pytest.fixture
def plain_folder() -> Iterator[Path]:
    """A folder of a user without special rights, as whom the test runs: root may read and write everything."""
    folder = Path(tempfile.mkdtemp())
    user = os.geteuid()
    if user == 0:
        os.chown(folder, NOBODY, -1)
        os.seteuid(NOBODY)
    yield folder
    os.seteuid(user)
    shutil.rmtree(folder)

"""The table of docs/receivers.md is what the synthesizers do."""

from __future__ import annotations

import functools
import re
from pathlib import Path

import pytest

from tests.synths.probes import PROBES
from tests.synths.receivers import RECEIVERS
from tests.synths.table import cell

DOCUMENT = Path(__file__).parents[2] / "docs" / "receivers.md"
SAME_CENTS = 0.06  # other releases of a synthesizer may resample a little differently
QUICK = (
    "bend, range 2",
    "bend, range 48",
    "mts, single notes after RPN 4 and 3",
    "mts-octave, 1 byte, real time",
)


@functools.cache
def printed() -> dict[tuple[str, str], str]:
    """(receiver, probe) → cell of the page."""
    lines = [line.strip("| \n").split(" | ") for line in DOCUMENT.read_text(encoding="utf-8").splitlines()]
    head = next(line for line in lines if line[0] == "carried by")
    names = [name.split()[0] for name in head[1:]]
    rows = {line[0]: line[1:] for line in lines if line[0] in PROBES}
    return {(name, probe): cells[k] for probe, cells in rows.items() for k, name in enumerate(names)}


def numbers(text: str) -> list[float]:
    return [float(number) for number in re.findall(r"\d+\.\d+", text)]


def test_every_probe_is_on_the_page() -> None:
    assert set(printed()) == {(receiver.name, probe) for receiver in RECEIVERS for probe in PROBES}


@pytest.mark.parametrize(
    ("receiver", "probe"),
    [
        (receiver, probe)
        for receiver in RECEIVERS
        for probe in (PROBES if receiver.name == "midirenderer" else QUICK)
    ],
    ids=lambda value: getattr(value, "name", value),
)
def test_page_says_what_is_heard(receiver, probe) -> None:  # type: ignore[no-untyped-def]
    if receiver.missing:
        pytest.skip(f"{receiver.name} is not installed (apt-get install {receiver.program})")
    on_page, heard = printed()[receiver.name, probe], cell(receiver, probe)
    assert (on_page == "no") == (heard == "no")
    assert numbers(heard) == pytest.approx(numbers(on_page), abs=SAME_CENTS)

"""Tabs of the browser, and small pieces of music to open in it."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import mido
import pytest

from retune.options import Options
from retune.page import build_page
from retune.pipeline import Analysis, analyze, tune
from retune.tuning.model import Tuning

SAMPLES = Path(__file__).parents[2] / "sample_scores"
Notes = Sequence[tuple[float, float, int]]  # onset and length in quarters, key


@pytest.fixture(scope="session")
def midi() -> Callable[..., bytes]:
    """Makes MIDI files from a few notes."""
    return _midi_bytes


def _midi_bytes(parts: dict[str, Notes], *, title: str = "Test piece", velocity: int = 80) -> bytes:
    """A file of one track a part, at 60 quarters to the minute, 480 ticks each."""
    file = mido.MidiFile(type=1, ticks_per_beat=480)
    head = mido.MidiTrack(
        [mido.MetaMessage("track_name", name=title), mido.MetaMessage("set_tempo", tempo=10**6)]
    )
    file.tracks.append(head)
    for channel, (name, notes) in enumerate(parts.items()):
        events: list[tuple[int, int, Any]] = []
        for onset, length, key in notes:
            on = mido.Message("note_on", channel=channel, note=key, velocity=velocity)
            off = mido.Message("note_off", channel=channel, note=key)
            events += [(round(onset * 480), 1, on), (round((onset + length) * 480), 0, off)]
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=name)])
        now = 0
        for tick, _, message in sorted(events, key=lambda event: event[:2]):
            track.append(message.copy(time=tick - now))
            now = tick
        file.tracks.append(track)
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


@pytest.fixture(scope="session")
def hymn_bytes() -> bytes:
    """A sample score in four parts."""
    return (SAMPLES / "evening_hymn.mid").read_bytes()


@pytest.fixture(scope="session")
def hymn(hymn_bytes: bytes) -> tuple[Analysis, Tuning]:
    """The sample score, analysed and tuned with default options."""
    analysis = analyze(hymn_bytes, Options())
    return analysis, tune(analysis)


@pytest.fixture(scope="session")
def hymn_page(hymn: tuple[Analysis, Tuning], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the sample score."""
    path = tmp_path_factory.mktemp("hymn") / "hymn.html"
    path.write_text(build_page(*hymn), encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def cadence_bytes() -> bytes:
    """C major, G7 and C major again in four voices, no note held or repeated between them but C and G."""
    chords = [(48, 64, 67, 72), (43, 59, 65, 74), (48, 60, 64, 67)]
    voices = {f"Voice {v + 1}": [(2 * t, 2, chord[v]) for t, chord in enumerate(chords)] for v in range(4)}
    return _midi_bytes(voices)


@pytest.fixture(scope="session")
def cadence_page(cadence_bytes: bytes, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the three chords."""
    analysis = analyze(cadence_bytes, Options())
    path = tmp_path_factory.mktemp("cadence") / "cadence.html"
    path.write_text(build_page(analysis, tune(analysis)), encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def tabs(browser: Any) -> dict[Any, Any]:
    """Tabs already open, by size and colour scheme, and under "complaints" what they have said."""
    return {"complaints": []}


@pytest.fixture
def open_page(browser: Any, tabs: dict[Any, Any]) -> Iterator[Callable[..., Any]]:
    """Opens a file; in the end the page must not have complained or asked the network for anything."""
    tabs["complaints"].clear()

    def opened(path: Path, *, width: int = 1280, height: int = 900, scheme: str = "light") -> Any:
        wanted = (width, height, scheme)
        if wanted not in tabs:
            tabs[wanted] = _new_tab(browser, tabs["complaints"], *wanted)
        tabs[wanted].emulate_media(media="screen")
        tabs[wanted].goto(path.as_uri())
        return tabs[wanted]

    yield opened
    assert tabs["complaints"] == []


def _new_tab(browser: Any, complaints: list[str], width: int, height: int, scheme: str) -> Any:
    context = browser.new_context(
        viewport={"width": width, "height": height}, color_scheme=scheme, accept_downloads=True
    )
    page = context.new_page()
    page.on("console", lambda message: complaints.append(f"{message.type}: {message.text}"))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("dialog", lambda dialog: (complaints.append(dialog.message), dialog.dismiss()))
    page.on("request", lambda request: _only_local(request.url, complaints))
    return page


def _only_local(url: str, complaints: list[str]) -> None:
    if not url.startswith(("file:", "blob:file:", "blob:null", "data:")):
        complaints.append(f"request: {url}")

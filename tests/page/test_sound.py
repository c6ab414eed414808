"""What the page sounds, measured from rendered samples and from the live audio graph."""

from __future__ import annotations

import base64
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from retune.options import Options
from retune.page import build_page
from retune.pipeline import Analysis, analyze, tune
from retune.tuning import Tuning
from retune.tuning.model import OFFSET_DTYPE
from retune.tuning.temperaments import temperament
from retune.units import key_to_hz

RATE = 48000
TOLERANCE_CENTS = 0.01

RENDER = """async ([tuning, from, to, change, set]) => {
  const { page, renderStretch } = retunePage;
  const named = (id) => page.tunings.find((t) => t.id === id);
  if (set.soloed) set.soloed = new Set(set.soloed);
  const samples = await renderStretch(page.music, named(tuning), from, to, { set, change: change && {
    at: change.at, tuning: named(change.to) } });
  const bytes = new Uint8Array(samples.buffer);
  let text = "";
  for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
  return btoa(text);
}"""

VOICES = """() => [...retunePage.page.player.voices].map((voice) => {
  voice.number ??= Math.random();
  return { note: voice.note, number: voice.number, gain: voice.gain.gain.value,
    hz: voice.oscillator.frequency.value * 2 ** (voice.oscillator.detune.value / 1200) };
})"""


def render(
    page: Any, tuning: str, start: float, end: float, change: dict | None = None, **player: Any
) -> np.ndarray:
    """Samples of a stretch of the page's music [s], perhaps with a change of tuning on the way.

    `player` sets what the listener may set: volume, speed, loop, soloed parts.
    """
    encoded = page.evaluate(RENDER, [tuning, start, end, change, player])
    return np.frombuffer(base64.b64decode(encoded), dtype=np.float32).astype(np.float64)


def measured_hz(samples: np.ndarray, near_hz: float) -> float:
    """Frequency of the partial nearest to `near_hz`: the phase that the transform's bin gains in half the time.

    Two windows (Hann), the second later by half of the samples; the phase difference gives the frequency far
    more finely than the spacing of the bins.
    """
    half = len(samples) // 2
    time = np.arange(half) / RATE
    probe = np.hanning(half) * np.exp(-2j * np.pi * near_hz * time)
    first, second = (np.sum(part * probe) for part in (samples[:half], samples[half : 2 * half]))
    turn = 2 * np.pi * near_hz * half / RATE
    gained = np.angle(second / first * np.exp(-1j * turn))
    return near_hz + gained / (2 * np.pi * half / RATE)


def cents_apart(measured: float, meant: float) -> float:
    return abs(1200 * np.log2(measured / meant))


def test_the_measurement_itself_finds_a_known_tone():
    tone = sum(np.sin(2 * np.pi * 441.234 * n * np.arange(RATE) / RATE) / n for n in (1, 2, 3))
    assert cents_apart(measured_hz(tone, 441.0), 441.234) < 0.001


@pytest.fixture(scope="module")
def lone_notes(midi: Callable[..., bytes], tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Tuning]:
    """Four lone notes of three seconds, offsets given; the last takes a second offset half-way."""
    keys = (45, 60, 69, 93)
    data = midi({"Voice": [(4 * i, 3, key) for i, key in enumerate(keys)]})
    analysis = analyze(data, Options())
    rows = [(i, 1920 * i, 1920 * i + 1440, cents) for i, cents in enumerate((-31.174, 13.686, -0.002))]
    rows += [(3, 5760, 6480, 49.999), (3, 6480, 7200, -49.999)]
    given = Tuning(
        offsets=np.array(rows, dtype=OFFSET_DTYPE), displacement_cents=tune(analysis).displacement_cents
    )
    path = tmp_path_factory.mktemp("lone") / "lone.html"
    path.write_text(build_page(analysis, given), encoding="utf-8")
    return path, given


def test_rendered_notes_have_the_intended_frequencies(
    lone_notes: tuple[Path, Tuning], open_page: Callable[..., Any]
):
    path, given = lone_notes
    page = open_page(path)
    classes = temperament("werckmeister-iii")
    keys = (45, 60, 69, 93, 93)
    starts = (0, 4, 8, 12, 13.5)
    spans = (3, 3, 3, 1.5, 1.5)
    for tuning, offsets in {
        "original": np.zeros(5),
        "retuned": given.offsets["offset_cents"],
        "werckmeister-iii": [classes[key % 12] for key in keys],
    }.items():
        samples = render(page, tuning, 0, 16)
        for key, start, span, cents in zip(keys, starts, spans, offsets, strict=True):
            meant = key_to_hz(float(key), float(cents))
            steady = samples[round((start + 0.15) * RATE) : round((start + span - 0.05) * RATE)]
            assert cents_apart(measured_hz(steady, meant), meant) < TOLERANCE_CENTS, (tuning, key)


def test_a_change_of_tuning_moves_a_sounding_note_without_a_gap(
    lone_notes: tuple[Path, Tuning], open_page: Callable[..., Any]
):
    page = open_page(lone_notes[0])
    samples = render(page, "original", 8, 11, {"at": 1.5, "to": "werckmeister-iii"})
    before, after = (
        samples[round(0.2 * RATE) : round(1.4 * RATE)],
        samples[round(1.6 * RATE) : round(2.9 * RATE)],
    )
    assert cents_apart(measured_hz(before, 440.0), 440.0) < TOLERANCE_CENTS
    assert cents_apart(measured_hz(after, 440.0), 440.0) < TOLERANCE_CENTS  # A is 0 in both
    samples = render(page, "original", 4, 7, {"at": 1.5, "to": "quarter-comma-meantone"})
    meant = key_to_hz(60.0, float(temperament("quarter-comma-meantone")[0]))
    after = samples[round(1.6 * RATE) : round(2.9 * RATE)]
    assert cents_apart(measured_hz(after, meant), meant) < TOLERANCE_CENTS
    around = samples[round(0.5 * RATE) : round(2.5 * RATE)]
    loudness = np.sqrt(np.convolve(around**2, np.ones(960) / 960, "valid"))
    assert loudness.min() > 0.9 * loudness.max()
    steepest = np.abs(np.diff(samples[round(0.5 * RATE) : round(1.4 * RATE)])).max()
    assert np.abs(np.diff(around)).max() < 1.05 * steepest  # no click either


def test_notes_start_and_end_softly(lone_notes: tuple[Path, Tuning], open_page: Callable[..., Any]):
    page = open_page(lone_notes[0])
    samples = render(page, "original", 0, 4)
    steady = np.abs(np.diff(samples[RATE : 2 * RATE])).max()
    assert np.abs(np.diff(samples)).max() < 1.05 * steady
    assert np.abs(samples[round(3.3 * RATE) :]).max() < 1e-4
    high = np.abs(render(page, "original", 12, 13))  # the highest note goes through three periods in 2 ms
    assert high[: round(0.002 * RATE)].max() < 0.35 * high[RATE // 2 :].max()


def test_the_loudest_cluster_stays_below_full_scale(
    midi: Callable[..., bytes], tmp_path: Path, open_page: Callable[..., Any]
):
    data = midi({"All": [(0, 4, key) for key in range(36, 84)]}, velocity=127)
    analysis = analyze(data, Options())
    path = tmp_path / "cluster.html"
    path.write_text(build_page(analysis, tune(analysis)), encoding="utf-8")
    page = open_page(path)
    samples = render(page, "original", 0, 2, volume=1)
    assert 0.3 < np.abs(samples).max() <= 1.0


def test_a_loop_repeats_its_stretch(lone_notes: tuple[Path, Tuning], open_page: Callable[..., Any]):
    """Looped from 2 s to 3.5 s: the low note for a second, half a second of silence, and so again."""
    page = open_page(lone_notes[0])
    samples = render(page, "original", 2, 6.5, loop={"from": 2, "to": 3.5})
    low = key_to_hz(45.0, 0.0)
    for start in (0, 1.5, 3):
        steady = samples[round((start + 0.15) * RATE) : round((start + 0.95) * RATE)]
        assert np.abs(steady).max() > 0.05
        assert cents_apart(measured_hz(steady, low), low) < 0.1
        assert np.abs(samples[round((start + 1.3) * RATE) : round((start + 1.48) * RATE)]).max() < 1e-4


def test_tempo_stretches_time_and_leaves_pitch(
    lone_notes: tuple[Path, Tuning], open_page: Callable[..., Any]
):
    samples = render(open_page(lone_notes[0]), "original", 4, 10, speed=0.5)
    middle_c = key_to_hz(60.0, 0.0)
    late = samples[round(4.5 * RATE) : round(5.8 * RATE)]  # at full tempo the note would have ended at 3 s
    assert cents_apart(measured_hz(late, middle_c), middle_c) < TOLERANCE_CENTS


def test_a_part_alone_is_all_that_sounds(hymn_page: Path, open_page: Callable[..., Any]):
    """Bar 1 of the hymn holds G3 (bass) under B4 (soprano): alone, the soprano has nothing at G3's frequency."""
    page = open_page(hymn_page)
    low = np.exp(-2j * np.pi * key_to_hz(55.0, 0.0) * np.arange(RATE) / RATE) * np.hanning(RATE)
    strength = {
        name: np.abs(np.sum(render(page, "original", 0, 1.2, **set_to)[4800 : 4800 + RATE] * low))
        for name, set_to in {"all": {}, "soprano": {"soloed": [0]}, "bass": {"soloed": [3]}}.items()
    }
    assert strength["bass"] == pytest.approx(strength["all"], rel=0.05)
    assert strength["soprano"] < 0.001 * strength["all"]


def test_playing_live_and_switching_uses_the_same_oscillators_at_the_new_frequencies(
    hymn: tuple[Analysis, Tuning], hymn_page: Path, open_page: Callable[..., Any]
):
    analysis, tuning = hymn
    page = open_page(hymn_page)
    page.click("#play")
    page.wait_for_function(
        "() => [...retunePage.page.player.voices].filter((v) => v.gain.gain.value > 0.05).length === 4",
        timeout=3000,
    )
    page.wait_for_timeout(120)  # the notes have grown to their full level
    first = {row["note"]: row["offset_cents"] for row in tuning.offsets[::-1]}
    keys = analysis.score.notes["key"].astype(float)
    voices = sounding(page)
    for voice in voices.values():
        meant = key_to_hz(keys[voice["note"]], first[voice["note"]])
        assert cents_apart(voice["hz"], meant) < TOLERANCE_CENTS
    for choice, offset in (("original", lambda note: 0.0), ("vallotti", vallotti_of(keys))):
        if choice == "original":
            page.get_by_label("Original", exact=True).check(force=True)
        else:
            page.select_option("#tuning-more", choice)
        page.wait_for_timeout(60)
        now = sounding(page)
        assert voices.keys() & now.keys(), "the same oscillators must go on"
        for number in voices.keys() & now.keys():
            meant = key_to_hz(keys[now[number]["note"]], offset(now[number]["note"]))
            assert cents_apart(now[number]["hz"], meant) < TOLERANCE_CENTS
            assert now[number]["gain"] == pytest.approx(voices[number]["gain"], rel=0.05)


def sounding(page: Any) -> dict[float, dict]:
    return {voice["number"]: voice for voice in page.evaluate(VOICES) if voice["gain"] > 0.05}


def vallotti_of(keys: np.ndarray) -> Callable[[int], float]:
    classes = temperament("vallotti")
    return lambda note: float(classes[int(keys[note]) % 12])

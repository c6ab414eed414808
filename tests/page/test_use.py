"""The page in use: transport, loop, parts, chords, jumping, keyboard, small screens, print, hostile text."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import mido
import numpy as np
import pytest

from retune.options import Options
from retune.page import build_page
from retune.pipeline import Analysis, analyze, tune
from retune.tuning import Tuning
from retune.tuning.model import Compromise

HOSTILE = "</script><script>window.broken = 1</script><img src=x onerror='window.broken = 2'>"

OUTSIDE = """() => [...document.querySelectorAll("body *")].filter((element) => {
  const scrolls = element.closest(".wide, #score-scroll, .unseen, .skip, datalist, thead");
  if (scrolls || !element.checkVisibility()) return false;
  return element.getBoundingClientRect().right > innerWidth + 0.5;
}).map((element) => element.outerHTML.slice(0, 80))"""

Opener = Callable[..., Any]


def player(page: Any, expression: str) -> Any:
    return page.evaluate(f"() => {{ const player = retunePage.page.player; return {expression}; }}")


def test_opens_with_title_facts_and_figures(
    hymn: tuple[Analysis, Tuning], hymn_page: Path, open_page: Opener
):
    page = open_page(hymn_page)
    analysis, tuning = hymn
    assert page.locator("h1").inner_text() == analysis.score.title
    assert "4 parts" in page.locator(".facts").inner_text()
    assert page.locator("#compromises tbody tr").count() == len(tuning.compromises)
    purity = page.locator(".figures tr", has_text="Within 1 cent").locator("td").all_inner_texts()
    assert float(purity[0].split()[0]) < 30 < 80 < float(purity[1].split()[0])


def test_sound_comes_within_a_second_and_stop_ends_it(hymn_page: Path, open_page: Opener):
    page = open_page(hymn_page)
    page.evaluate(
        """() => document.getElementById("play").addEventListener("click", () => {
          const pressed = performance.now();
          const look = () => {
            const { player } = retunePage.page;
            if ([...player.voices].some((voice) => voice.gain.gain.value > 0.01)) {
              window.waited = performance.now() - pressed;
            } else setTimeout(look, 5);
          };
          look();
        })"""
    )
    page.click("#play")
    page.wait_for_function("() => window.waited !== undefined", timeout=3000)
    assert page.evaluate("window.waited") < 1000
    assert page.locator("#play").get_attribute("aria-pressed") == "true"
    page.wait_for_function("() => retunePage.page.player.position > 0.1")
    page.click("#stop")
    assert player(page, "[player.state, player.voices.size, player.position]") == ["stopped", 0, 0]
    assert page.locator("#play-word").inner_text() == "Play"


@pytest.mark.parametrize(
    ("pressed", "state"),
    [
        (("play", "play"), "playing"),
        (("play", "stop"), "stopped"),
        (("hear", "stop"), "stopped"),
        (("play", "hear"), "stopped"),
    ],
)
def test_the_last_button_pressed_counts_while_the_sound_device_wakes(
    hymn_page: Path, open_page: Opener, pressed: tuple[str, str], state: str
):
    """And a second Play makes no second clockwork, which would go on after Stop."""
    page = open_page(hymn_page)
    page.click("#play")
    page.wait_for_function("() => retunePage.page.player.position > 0.1")
    page.click("#stop")
    page.evaluate(
        """async (pressed) => {
          const { player } = retunePage.page;
          const { context } = player;
          player.setSpeed(8); // notes follow each other quickly, should any start after Stop
          await context.suspend();
          for (const name of pressed) document.getElementById(name).click();
          if (context.state !== "suspended") throw new Error("the device was awake at once");
        }""",
        pressed,
    )
    page.wait_for_function("() => retunePage.page.player.context.state === 'running'")
    page.wait_for_timeout(150)
    assert player(page, "[player.state, player.held]") == [state, pressed[1] == "hear"]
    page.click("#stop")
    reached = player(page, "player.next")
    page.wait_for_timeout(500)
    assert player(page, "[player.state, player.voices.size, player.next]") == ["stopped", 0, reached]


def test_pause_keeps_the_place_and_seek_moves_it(hymn_page: Path, open_page: Opener):
    page = open_page(hymn_page)
    page.locator("#seek").fill("20")
    assert "0:20" in page.locator("#place-time").inner_text()
    page.click("#play")
    page.wait_for_function("() => retunePage.page.player.position > 20.1")
    page.click("#play")
    assert player(page, "player.state") == "paused"
    assert 20 < player(page, "player.position") < 22


def test_loop_of_a_chord_stays_inside_it(hymn_page: Path, open_page: Opener):
    page = open_page(hymn_page)
    page.locator("#speed").fill("150")
    page.locator(".chord").nth(2).click()
    page.click("#loop-chord")
    start, end = player(page, "[player.loop.from, player.loop.to]")
    page.click("#play")
    page.wait_for_function("() => retunePage.page.player.segments.length > 1", timeout=4000)
    places = []
    for _ in range(12):
        places.append(player(page, "player.position"))
        page.wait_for_timeout(40)
    assert all(start - 1e-6 <= place <= end + 1e-6 for place in places)
    assert player(page, "player.state") == "playing"
    page.click("#loop-off")
    assert player(page, "player.loop") is None


def test_tempo_changes_while_playing_keep_the_sounding_notes(hymn_page: Path, open_page: Opener):
    page = open_page(hymn_page)
    page.click("#play")
    page.wait_for_function("() => retunePage.page.player.position > 0.2")
    player(
        page, "[...player.voices].forEach((voice) => (voice.kept = voice.from < player.context.currentTime))"
    )
    page.locator("#speed").fill("50")
    assert player(page, "[...player.voices].filter((voice) => voice.kept).length") == 4
    first = player(page, "[player.position, player.context.currentTime]")
    page.wait_for_timeout(400)
    second = player(page, "[player.position, player.context.currentTime]")
    assert (second[0] - first[0]) / (second[1] - first[1]) == pytest.approx(0.5, abs=0.05)


def test_alone_and_silent_set_the_levels_of_parts(hymn_page: Path, open_page: Opener):
    page = open_page(hymn_page)
    page.click("#play")
    page.get_by_role("button", name="Alone: Alto").click()
    levels = "player.buses.map((bus) => Math.round(bus.gain.value * 100) / 100)"
    page.wait_for_function(
        f"() => {{ const {{ player }} = retunePage.page; return {levels}.join() === '0,1,0,0' }}"
    )
    page.get_by_role("button", name="Alone: Alto").click()
    page.get_by_role("button", name="Silent: Bass").click()
    page.wait_for_function(
        f"() => {{ const {{ player }} = retunePage.page; return {levels}.join() === '1,1,1,0' }}"
    )


def test_a_chord_alone_sounds_in_each_tuning(cadence_page: Path, open_page: Opener):
    page = open_page(cadence_page)
    page.locator(".chord").nth(0).click()
    assert page.locator("#chord-name").inner_text() == "C major triad 4:5:6"
    page.wait_for_function("() => retunePage.page.player.voices.size === 4")
    assert page.locator("#hear").get_attribute("aria-pressed") == "true"
    voices = "[...player.voices].map((voice) => voice.oscillator.detune.value)"
    page.locator("#chord-tunings button", has_text="Original").click()
    page.wait_for_timeout(60)
    assert player(page, voices) == [0, 0, 0, 0]
    # Equal temperament against 4:5:6: third 13.7 cents high, fifth 2.0 low (Helmholtz/Ellis 1885, App. XX).
    row = page.locator("#chord-tunings tr", has_text="Original").locator("td").all_inner_texts()
    assert row[1:] == ["+13.7", "−2.0"]
    page.keyboard.press("h")
    assert player(page, "[player.voices.size, player.held]") == [0, False]


def test_a_compromise_leads_to_its_place(hymn: tuple[Analysis, Tuning], hymn_page: Path, open_page: Opener):
    analysis, tuning = hymn
    page = open_page(hymn_page)
    last = tuning.compromises[-1]
    page.locator("#compromises .jump").last.click()
    assert player(page, "player.position") == pytest.approx(float(analysis.score.clock.seconds(last.tick)))
    assert page.evaluate("retunePage.page.chosen") == last.window
    shown = page.evaluate(
        "(() => { const f = retunePage.page.view.frame(); return [f.fromTick, f.toTick]; })()"
    )
    assert shown[0] <= last.tick <= shown[1]
    assert page.locator("#note-tip").is_visible()


def test_a_shift_is_listed_and_leads_to_its_place(
    hymn: tuple[Analysis, Tuning], hymn_page: Path, open_page: Opener
):
    analysis, tuning = hymn
    page = open_page(hymn_page)
    assert page.locator("#shifts tbody tr").count() == len(tuning.shifts) > 0
    last = tuning.shifts[-1]
    assert page.locator("#shifts .why").last.inner_text() == last.reason
    page.locator("#shifts .jump").last.click()
    assert player(page, "player.position") == pytest.approx(float(analysis.score.clock.seconds(last.tick)))
    assert page.locator("#note-tip").is_visible()


def test_note_table_gives_the_offsets_of_a_bar(
    hymn: tuple[Analysis, Tuning], hymn_page: Path, open_page: Opener
):
    page = open_page(hymn_page)
    _, tuning = hymn
    rows = page.locator("#notes tbody tr").all_inner_texts()
    assert rows[0].split("\t")[:3] == ["1", "B4", "Soprano"]
    figure = float(rows[0].split("\t")[3].replace("−", "-"))
    assert figure == pytest.approx(float(tuning.offsets["offset_cents"][0]), abs=0.051)


def test_everything_can_be_done_from_the_keyboard(hymn_page: Path, open_page: Opener):
    page = open_page(hymn_page)
    focused = "document.activeElement.id || document.activeElement.className || document.activeElement.value"
    seen = []
    for _ in range(60):
        page.keyboard.press("Tab")
        seen.append(page.evaluate(focused))
    for wanted in (
        "play",
        "stop",
        "retuned",
        "tuning-more",
        "seek",
        "score-canvas",
        "chord",
        "edit-root",
        "save-plan",
    ):
        assert wanted in seen, wanted
    page.locator("#play").focus()
    page.keyboard.press("Enter")
    page.wait_for_function("() => retunePage.page.player.state === 'playing'")
    page.keyboard.press("s")
    assert player(page, "player.state") == "stopped"
    page.locator("#tuning-choices :checked").focus()
    page.keyboard.press("ArrowLeft")
    assert page.evaluate("retunePage.page.shownTuning.id") == "original"
    page.locator(".chord[tabindex='0']").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("retunePage.page.chosen") == 2
    assert page.evaluate("document.activeElement.title").startswith(
        page.locator("#chord-name").inner_text().split(":")[0].rsplit(" ", 1)[0]
    )
    page.locator("#score-canvas").focus()
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    assert "cents" in page.locator("#announce").inner_text()
    page.keyboard.press("Enter")
    page.locator("#score-head").click()
    page.keyboard.press(" ")
    page.wait_for_function("() => retunePage.page.player.state === 'playing'")


def test_every_control_has_a_name(hymn_page: Path, open_page: Opener):
    page = open_page(hymn_page)
    nameless = page.evaluate(
        """() => [...document.querySelectorAll("button, input, select, canvas[tabindex]")].filter((element) => {
          const words = element.getAttribute("aria-label") || element.textContent.trim();
          const labels = [...(element.labels ?? [])].map((label) => label.textContent.trim()).join("");
          return !words && !labels;
        }).map((element) => element.outerHTML)"""
    )
    assert nameless == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_small_screens_do_not_scroll_sideways(hymn_page: Path, open_page: Opener, scheme: str):
    page = open_page(hymn_page, width=360, height=740, scheme=scheme)
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    page.locator("#chord-notes-box summary").click()
    page.select_option("#edit-chord", "9")
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    assert page.evaluate(OUTSIDE) == []
    paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
    brightness = np.mean([int(c) for c in paper[4:-1].split(",")])
    assert brightness > 200 if scheme == "light" else brightness < 50


def test_hostile_text_is_shown_and_does_nothing(
    midi: Callable[..., bytes], tmp_path: Path, open_page: Opener
):
    analysis = analyze(midi({HOSTILE: [(0, 2, 60), (0, 2, 64), (0, 2, 67), (2, 2, 65)]}), Options())
    tuning = tune(analysis)
    hostile = (Compromise(tick=0, notes=(0, 1), window=0, cents=3.0, reason=HOSTILE),)
    tuning = replace(tuning, compromises=hostile, shifts=hostile)
    path = tmp_path / "hostile.html"
    path.write_text(build_page(analysis, tuning, title=HOSTILE, others={HOSTILE: tuning}), encoding="utf-8")
    page = open_page(path)
    page.locator("#parts button").first.click()
    page.select_option("#edit-chord", "min")
    assert page.evaluate("window.broken") is None
    assert page.locator("h1").inner_text() == HOSTILE
    assert page.locator("#parts tbody th").inner_text() == HOSTILE
    assert page.locator("img").count() == 0
    assert HOSTILE in page.locator("#compromises .why").inner_text()
    assert HOSTILE in page.locator("#shifts .why").inner_text()


def test_print_holds_music_chords_and_figures_and_no_controls(
    hymn: tuple[Analysis, Tuning], hymn_page: Path, open_page: Opener
):
    page = open_page(hymn_page)
    page.emulate_media(media="print")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert page.locator("#print-score canvas").count() >= 2
    assert page.locator("#print-chords tr").count() == len(hymn[0].harmony.windows)
    for hidden in ("#play", "#score-scroll", "#edit", "#parts"):
        assert not page.locator(hidden).is_visible()
    for shown in (".figures", ".compromises", "#print-chords"):
        assert page.locator(shown).is_visible()
    margins = "[...document.styleSheets[0].cssRules].filter((rule) => rule instanceof CSSPageRule).length"
    assert page.evaluate(margins) == 1, "paper has margins whatever the browser is set to"


def page_of(track: mido.MidiTrack, folder: Path) -> Path:
    """The page of a piece of one track."""
    out = io.BytesIO()
    mido.MidiFile(tracks=[track]).save(file=out)
    analysis = analyze(out.getvalue(), Options())
    path = folder / "page.html"
    path.write_text(build_page(analysis, tune(analysis)), encoding="utf-8")
    return path


def test_percussion_alone_plays_and_has_no_chords(tmp_path: Path, open_page: Opener):
    track = mido.MidiTrack()
    for _ in range(8):
        track.append(mido.Message("note_on", channel=9, note=38, velocity=90))
        track.append(mido.Message("note_off", channel=9, note=38, time=480))
    page = open_page(page_of(track, tmp_path))
    assert not page.locator("#chord-panel").is_visible()
    page.click("#play")
    for key in "hl.,s":
        page.keyboard.press(key)
    assert player(page, "[player.state, player.held]") == ["stopped", False]
    assert page.locator("#parts tbody td").last.inner_text() == "percussion"
    assert "pure" not in page.locator(".compromises p").inner_text()


def test_ratios_of_a_chord_of_many_tones_stay_in_the_panel(tmp_path: Path, open_page: Opener):
    track = mido.MidiTrack()
    track += [mido.Message("note_on", note=key, velocity=64) for key in range(48, 60)]
    track += [mido.Message("note_off", note=key, time=1920 if key == 48 else 0) for key in range(48, 60)]
    page = open_page(page_of(track, tmp_path))
    right = "document.querySelector('{}').getBoundingClientRect().right"
    assert len(page.inner_text("#chord-name small").split()) == 12
    assert page.evaluate(right.format("#chord-name small")) <= page.evaluate(right.format("#chord-panel"))


def test_a_page_without_chords_or_compromises_opens(
    midi: Callable[..., bytes], tmp_path: Path, open_page: Opener
):
    analysis = analyze(midi({"One": [(0, 1, 60)]}), Options())
    path = tmp_path / "one.html"
    path.write_text(build_page(analysis, tune(analysis), title=""), encoding="utf-8")
    page = open_page(path)
    page.click("#play")
    page.wait_for_function("() => retunePage.page.player.voices.size === 1")
    assert "Nowhere" in page.locator(".compromises").inner_text()
    assert "Nowhere" in page.locator(".shifts").inner_text()
    assert page.locator("h1").inner_text() == "Test piece"

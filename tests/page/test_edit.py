"""Changes made on the page: what is heard of them, and that the saved plan has them obeyed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from retune.harmony.vocabulary import CHORD_TYPES
from retune.options import Options
from retune.page import build_page
from retune.pipeline import Analysis, analyze, tune
from retune.plan import read_plan
from retune.plan.words import format_place, parse_place
from retune.tuning import Tuning
from retune.units import ratio_to_cents

Opener = Callable[..., Any]


def saved_plan(page: Any) -> str:
    """Text of the plan as the browser saves it."""
    with page.expect_download() as download:
        page.click("#save-plan")
    assert download.value.suggested_filename.endswith(".plan.toml")
    return Path(download.value.path()).read_text(encoding="utf-8")


def converted(data: bytes, text: str) -> tuple[Analysis, Tuning]:
    analysis = analyze(data, Options(), plan=read_plan(text))
    return analysis, tune(analysis)


def choose(page: Any, window: int) -> None:
    page.evaluate("(window) => retunePage.page.chooseWindow(window)", window)


def test_a_plan_saved_without_changes_changes_nothing(
    hymn: tuple[Analysis, Tuning], hymn_bytes: bytes, hymn_page: Path, open_page: Opener
):
    analysis, tuning = hymn
    text = saved_plan(open_page(hymn_page))
    assert "changed\n" not in text
    assert "ratios =" not in text, "what the chord types take by themselves is not written"
    again, retuned = converted(hymn_bytes, text)
    for field in ("start_tick", "end_tick", "root_pc", "bass_pc", "chord", "members"):
        np.testing.assert_array_equal(again.harmony.windows[field], analysis.harmony.windows[field])
    np.testing.assert_allclose(again.ratios.deviations, analysis.ratios.deviations)
    np.testing.assert_allclose(retuned.offsets["offset_cents"], tuning.offsets["offset_cents"], atol=0.01)


def test_a_saved_plan_names_the_options_of_the_page(
    cadence_bytes: bytes, tmp_path: Path, open_page: Opener
) -> None:
    """What was heard in 7-limit ratios is converted in them, if one types what the plan says."""
    analysis = analyze(cadence_bytes, Options(prime_limit=7, fixed=("1",)))
    path = tmp_path / "seven.html"
    path.write_text(build_page(analysis, tune(analysis)), encoding="utf-8")
    text = saved_plan(open_page(path))
    assert "--plan this-file --prime-limit 7\n" in text
    assert 'fixed = ["1"]' in text


def test_an_edited_chord_is_heard_at_once_and_obeyed_by_the_conversion(
    cadence_bytes: bytes, cadence_page: Path, open_page: Opener
):
    """A dominant seventh is given the harmonic seventh 7/4, as in 4:5:6:7 (barbershop practice)."""
    seventh = 1
    page = open_page(cadence_page)
    choose(page, seventh)
    assert page.locator("#edit-chord").input_value() == "7"
    field = page.locator("#edit-ratios input[data-step='10']")
    field.fill("7/4")
    field.press("Enter")
    assert page.evaluate("retunePage.page.shownTuning.id") == "edited"
    assert "estimate" in page.locator(".plan").inner_text()
    tones = "retunePage.page.panel.tones()"
    heard = dict(
        page.evaluate(f"{tones}.map((t) => [t.step, retunePage.page.shownTuning.offsetAt(t.note, t.tick)])")
    )
    meant = ratio_to_cents(7, 4) - 1000
    assert heard[10] - heard[0] == pytest.approx(meant, abs=0.01)
    page.evaluate("retunePage.page.panel.sound()")
    page.wait_for_timeout(80)
    live = page.evaluate(
        """[...retunePage.page.player.voices].map((voice) => [
          (retunePage.page.music.key[voice.note] + 5) % 12, voice.oscillator.detune.value])"""
    )
    assert dict(live)[10] == pytest.approx(heard[10], abs=0.01)

    text = saved_plan(page)
    assert dict(read_plan(text).windows[seventh].ratios) == {0: (1, 1), 4: (5, 4), 7: (3, 2), 10: (7, 4)}
    analysis, tuning = converted(cadence_bytes, text)
    assert analysis.ratios.deviations[seventh, 10] == pytest.approx(meant, abs=0.001)
    offsets = pitch_class_offsets(analysis, tuning, seventh)
    assert offsets[10] - offsets[0] == pytest.approx(meant, abs=0.1)


def pitch_class_offsets(analysis: Analysis, tuning: Tuning, window: int) -> dict[int, float]:
    """Offset of each step above the root at the start of a window."""
    row = analysis.harmony.windows[window]
    at = tuning.offsets
    inside = (at["start_tick"] <= row["start_tick"]) & (at["end_tick"] > row["start_tick"])
    steps = (analysis.score.notes["key"][at["note"][inside]] - int(row["root_pc"])) % 12
    return dict(zip(steps.tolist(), at["offset_cents"][inside].tolist(), strict=True))


def test_root_chord_split_join_and_fixed_part_reach_the_plan(
    hymn: tuple[Analysis, Tuning], hymn_bytes: bytes, hymn_page: Path, open_page: Opener
):
    page = open_page(hymn_page)
    count = len(hymn[0].harmony.windows)
    choose(page, 3)
    page.select_option("#edit-chord", "maj7")
    page.select_option("#edit-root", "7")
    choose(page, 0)
    page.click("#do-join")
    choose(page, count - 2)
    places = page.locator("#edit-split option").count()
    if page.locator("#do-split").is_enabled():
        page.click("#do-split")
    page.get_by_label("Leave the tuning of Tenor as it is").check()
    changes = 4 + (places > 0)
    plan = read_plan(saved_plan(page))
    assert plan.fixed == ("3",)
    analysis, tuning = converted(hymn_bytes, saved_plan(page))
    windows = analysis.harmony.windows
    assert int(windows["end_tick"][0]) == int(hymn[0].harmony.windows["end_tick"][1])
    assert (int(windows["root_pc"][2]), CHORD_TYPES[windows["chord"][2]].symbol) == (7, "maj7")
    tenor = analysis.score.notes["part"][tuning.offsets["note"]] == 2
    assert np.all(tuning.offsets["offset_cents"][tenor] == 0)
    estimate = page.evaluate(
        """(() => { const { page } = retunePage; return page.music.part.map(
          (part, note) => [part, ...page.shownTuning.steps(note).map(([, cents]) => cents)]); })()"""
    )
    assert all(cents == 0 for part, *steps in estimate if part == 2 for cents in steps)
    for _ in range(changes):
        if page.locator("#undo").is_enabled():
            page.click("#undo")
    assert page.locator("#plan-state").inner_text() == "None yet."
    assert page.evaluate("retunePage.page.windows.length") == count
    assert page.evaluate("retunePage.page.shownTuning.id") == "retuned"


def test_what_was_fixed_and_limited_before_stays_in_the_plan(
    hymn_bytes: bytes, tmp_path: Path, open_page: Opener
):
    given = read_plan(
        'fixed = ["Tenor"]\nsections = [{bars = "2-3", drift_limit = 0, hold_limit = "none"}]\n'
    )
    analysis = analyze(hymn_bytes, Options(fixed=("Bass",)), plan=given)
    path = tmp_path / "fixed.html"
    path.write_text(build_page(analysis, tune(analysis)), encoding="utf-8")
    page = open_page(path)
    assert page.get_by_label("Leave the tuning of Bass as it is").is_disabled()
    plan = read_plan(saved_plan(page))
    assert plan.fixed == ("Bass", "Tenor")
    assert plan.sections == given.sections


def test_a_split_window_gives_two_rows(hymn_bytes: bytes, hymn_page: Path, open_page: Opener):
    page = open_page(hymn_page)
    split = page.evaluate(
        """(() => { const { page } = retunePage;
          const i = page.windows.findIndex((_, index) => page.edits.splitPlaces(index).length);
          page.chooseWindow(i); return [i, page.edits.splitPlaces(i)[0], page.windows.length]; })()"""
    )
    page.click("#do-split")
    assert page.evaluate("retunePage.page.windows.length") == split[2] + 1
    analysis, _ = converted(hymn_bytes, saved_plan(page))
    assert int(analysis.harmony.windows["start_tick"][split[0] + 1]) == split[1]


def test_a_wrong_ratio_is_answered_in_words_and_changes_nothing(hymn_page: Path, open_page: Opener):
    page = open_page(hymn_page)
    field = page.locator("#edit-ratios input[data-step='7']")
    for text, sentence in (
        ("5/4 or so", "not a ratio of whole numbers"),
        ("0/3", "whole numbers from 1"),
        ("2/1", "cents from this tone"),
        ("7/5", "cents from this tone"),
        ("16/11", "write one within 50"),
    ):
        field.fill(text)
        field.press("Enter")
        assert sentence in page.locator("#edit-error").inner_text()
        assert field.get_attribute("aria-invalid") == "true"
        assert page.evaluate("retunePage.page.edits.any") is False


def test_another_root_keeps_the_pitch_of_the_tone_that_becomes_it(hymn_page: Path, open_page: Opener):
    page = open_page(hymn_page)
    fifth_before = page.evaluate("retunePage.page.windows[1].displacement") + ratio_to_cents(3, 2) - 700
    choose(page, 1)
    root = page.evaluate("retunePage.page.windows[1].root")
    page.select_option("#edit-root", str((root + 7) % 12))
    assert page.evaluate("retunePage.page.windows[1].displacement") == pytest.approx(fifth_before, abs=1e-3)


def test_places_and_bars_agree_with_the_program(
    midi: Callable[..., bytes], tmp_path: Path, open_page: Opener
):
    """The page counts bars and writes places exactly as the program does, over changes of meter."""
    import io

    import mido

    data = midi({"Voice": [(i / 3, 1 / 3, 60 + i % 12) for i in range(90)]})
    file = mido.MidiFile(file=io.BytesIO(data))
    for numerator, denominator, wait in ((3, 4, 0), (6, 8, 1440 * 2), (5, 4, 1440 * 3), (4, 4, 2400)):
        file.tracks[0].append(
            mido.MetaMessage("time_signature", numerator=numerator, denominator=denominator, time=wait)
        )
    out = io.BytesIO()
    file.save(file=out)
    analysis = analyze(out.getvalue(), Options())
    score = analysis.score
    path = tmp_path / "meters.html"
    path.write_text(build_page(analysis, tune(analysis)), encoding="utf-8")
    page = open_page(path)
    ticks = sorted({*range(0, score.end_tick, 97), *(int(t) for t in score.notes["onset_tick"])})
    shown = page.evaluate(
        """(ticks) => ticks.map((tick) => { const { music } = retunePage.page;
          return [music.where(tick), retunePage.placeText(music, tick), music.seconds(tick)]; })""",
        ticks,
    )
    for tick, (where, place, seconds) in zip(ticks, shown, strict=True):
        assert where == score.where(tick)
        assert place == format_place(score.meters, tick)
        assert score.meters.tick_of(*parse_place(place)) == tick
        assert seconds == pytest.approx(float(score.clock.seconds(tick)))

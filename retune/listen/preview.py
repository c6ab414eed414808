"""From a tuning to samples: choose what sounds, render it, arrange it in time, level it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.constants import A4_HZ
from retune.errors import OptionError
from retune.listen import heard as cut
from retune.listen import level, tone
from retune.listen.phrases import Phrase, find_phrases
from retune.listen.wishes import OWN_SOUNDS, Wishes
from retune.score.excerpt import excerpt_ticks
from retune.units import reference_shift_cents

if TYPE_CHECKING:
    from collections.abc import Callable

    from retune.harmony.model import Harmony
    from retune.score.model import Score
    from retune.tuning.model import Tuning

FloatArray = NDArray[np.float64]

REST_GAIN = 0.3  # the other parts beside the one that is practised: about 10 dB softer, by ear
EDGE_S = 0.02  # fade at a cut in the middle of the music
MOST_TONE_SAMPLES = 20_000_000_000  # of all tones together: some minutes; a choir of eight sings 16 hours
MOST_SAMPLES = 2 * 3600 * 48000  # what is held in memory while it is worked on, 8 bytes each
TAIL_S = 0.3  # silence after the last note
GAP_S = 0.5  # between the two halves of a phrase and before the next phrase
MARK_BEAT_S = 0.16  # between the two clicks that announce the retuned half


@dataclass(frozen=True, slots=True, kw_only=True)
class Cue:
    """What is heard from when to when in the finished sound."""

    start_s: float
    end_s: float
    what: str  # "original" or "retuned"
    first_bar: int
    last_bar: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """The finished sound."""

    samples: FloatArray  # mono, 1.0 = full scale
    rate: int
    cues: tuple[Cue, ...]


@dataclass(frozen=True, slots=True)
class _Excerpt:
    """The stretch to hear, in ticks and in seconds at the speed wanted."""

    start_tick: int
    end_tick: int
    start_s: float
    length_s: float


def preview(
    score: Score,
    harmony: Harmony,
    tuning: Tuning,
    wishes: Wishes,
    *,
    reference_hz: float = A4_HZ,
    on_progress: Callable[[float], None] | None = None,
) -> Preview:
    """Render what the listener asked for, at `reference_hz` [Hz]; `on_progress` is told the share done, 0 to 1.

    Raises `OptionError` when a part or bar is not there, or nothing would sound.
    """
    excerpt = _excerpt(score, wishes)
    shift = reference_shift_cents(reference_hz)
    wanted = {"retuned": ("retuned",), "original": ("original",)}.get(wishes.hear, ("original", "retuned"))
    takes = {}
    for index, what in enumerate(wanted):
        if what == "retuned":
            offsets, roots = tuning.offsets, tuning.displacement_cents + shift
        else:
            offsets, roots = cut.untuned_offsets(score, shift), np.full(len(harmony.windows), shift)
        rows = _choose(score, harmony, cut.heard(score, offsets), roots, wishes)
        report = None if on_progress is None else partial(_share, on_progress, index, len(wanted))
        takes[what] = _render(score, rows, excerpt, wishes, report)
    if len(wanted) == 1:
        samples, cues = _in_one_go(score, takes[wanted[0]], wanted[0], excerpt, wishes)
    else:
        samples, cues = _in_turn(score, harmony, takes, excerpt, wishes)
    samples, cues = _repeated(samples, cues, wishes)
    samples = level.with_peak(samples, wishes.peak_dbfs)
    return Preview(samples=samples, rate=wishes.rate, cues=cues)


def _share(on_progress: Callable[[float], None], index: int, count: int, share: float) -> None:
    on_progress((index + share) / count)


def _excerpt(score: Score, wishes: Wishes) -> _Excerpt:
    """Return the bars asked for, or everything from the first to the last note."""
    notes = score.notes if wishes.drums else score.notes[score.pitched]
    if not len(notes):
        raise OptionError("nothing to hear: the file has no pitched notes")
    start, end = excerpt_ticks(score, notes, wishes.first_bar, wishes.last_bar)
    start_s, end_s = score.clock.seconds(np.array([start, end]))
    _refuse_too_long(float(end_s - start_s), wishes)
    return _Excerpt(start, end, float(start_s), float(end_s - start_s) / wishes.speed)


def _refuse_too_long(music_s: float, wishes: Wishes) -> None:
    total_s = music_s / wishes.speed * wishes.times * (2 if wishes.hear == "ab" else 1)
    if total_s * wishes.rate > MOST_SAMPLES:
        raise OptionError(
            f"this would be {total_s / 3600.0:.1f} hours of sound, too long to hold in memory; "
            "choose bars (--bars) or play fewer times"
        )


def _refuse_too_many(rows: cut.Rows, wishes: Wishes) -> None:
    hours = float((rows["end_s"] - rows["start_s"]).sum()) / 3600.0
    if hours * 3600.0 * wishes.rate > MOST_TONE_SAMPLES:
        raise OptionError(
            f"the tones would sound {hours:.0f} hours one after another, too long to work out; choose bars (--bars)"
        )


def _choose(score: Score, harmony: Harmony, rows: cut.Rows, roots: FloatArray, wishes: Wishes) -> cut.Rows:
    """Return the parts asked for, with what goes beside them."""
    if not wishes.parts:
        return rows
    from retune.listen.choose import chosen_parts

    parts = chosen_parts(score, wishes.parts)
    if wishes.beside == "rest":
        return cut.softer_except(rows, parts, REST_GAIN)
    rows = cut.of_parts(rows, parts)
    if wishes.beside == "drone":
        rows = np.concatenate([rows, cut.drone(score, harmony.windows, roots, len(score.notes))])
    return rows


def _render(
    score: Score,
    rows: cut.Rows,
    excerpt: _Excerpt,
    wishes: Wishes,
    on_progress: Callable[[float], None] | None,
) -> FloatArray:
    """Return samples of the excerpt and of `TAIL_S` after it."""
    end_s = excerpt.start_s + excerpt.length_s * wishes.speed
    rows = cut.at_speed(cut.between(rows, excerpt.start_s, end_s), wishes.speed)
    length_s = excerpt.length_s + TAIL_S
    if not len(rows):
        raise OptionError("nothing to hear: the parts asked for are silent there")
    if wishes.sound in OWN_SOUNDS:
        _refuse_too_many(rows, wishes)
        samples = tone.render_tones(
            rows, sound=wishes.sound, rate=wishes.rate, length_s=length_s, on_progress=on_progress
        )
    else:
        from retune.listen.soundfont import render_with_soundfont

        samples = render_with_soundfont(score, rows, wishes, length_s)
    if wishes.drums:
        clicks = cut.strokes_between(cut.strokes(score), excerpt.start_s, end_s)
        tone.add_clicks(samples, cut.at_speed(clicks, wishes.speed), wishes.rate)
    return samples


def _in_one_go(
    score: Score, samples: FloatArray, what: str, excerpt: _Excerpt, wishes: Wishes
) -> tuple[FloatArray, tuple[Cue, ...]]:
    if wishes.times > 1 or wishes.first_bar is not None:
        samples = level.faded(samples[: round(excerpt.length_s * wishes.rate)], EDGE_S, wishes.rate)
    whole = Phrase(start_tick=excerpt.start_tick, end_tick=excerpt.end_tick)
    return samples, (_cue(score, whole, what, 0.0, len(samples) / wishes.rate),)


def _in_turn(
    score: Score, harmony: Harmony, takes: dict[str, FloatArray], excerpt: _Excerpt, wishes: Wishes
) -> tuple[FloatArray, tuple[Cue, ...]]:
    """Phrase by phrase: one click, the original; two clicks, the retuned, as loud as the original."""
    pieces, cues = [], []
    at = 0
    mark_gain = tone.CLICK_GAIN * float(np.max(np.abs(takes["original"]), initial=0.0))
    for phrase in find_phrases(score, harmony, excerpt.start_tick, excerpt.end_tick):
        halves = {what: _slice(score, take, phrase, excerpt, wishes) for what, take in takes.items()}
        halves["retuned"] = level.matched(halves["retuned"], halves["original"])
        for count, what in enumerate(("original", "retuned"), start=1):
            announced = mark_gain * _mark(count, wishes.rate)
            start_s = (at + len(announced)) / wishes.rate
            pieces += [announced, halves[what]]
            at += len(announced) + len(halves[what])
            cues.append(_cue(score, phrase, what, start_s, at / wishes.rate))
    return np.concatenate(pieces), tuple(cues)


def _slice(
    score: Score, samples: FloatArray, phrase: Phrase, excerpt: _Excerpt, wishes: Wishes
) -> FloatArray:
    """Return the samples of one phrase, faded at both ends; the last one with its tail."""
    ticks = np.array([phrase.start_tick, phrase.end_tick])
    times_s = (score.clock.seconds(ticks) - excerpt.start_s) / wishes.speed
    start, end = np.rint(times_s * wishes.rate).astype(np.int64)
    if phrase.end_tick == excerpt.end_tick:
        end = len(samples)
    return level.faded(samples[start:end], EDGE_S, wishes.rate)


def _mark(count: int, rate: int) -> FloatArray:
    """Silence with one click or two clicks in it."""
    gap, beat = round(GAP_S * rate), round(MARK_BEAT_S * rate)
    tick = tone.click(rate)
    samples = np.zeros(2 * gap)
    for index in range(count):
        start = gap + (index - count + 1) * beat
        samples[start : start + len(tick)] += tick
    return samples


def _cue(score: Score, phrase: Phrase, what: str, start_s: float, end_s: float) -> Cue:
    first, _ = score.meters.spoken(phrase.start_tick)
    last, _ = score.meters.bar_beat(max(phrase.end_tick - 1, phrase.start_tick))
    return Cue(
        start_s=start_s, end_s=end_s, what=what, first_bar=int(first), last_bar=max(int(last), int(first))
    )


def _repeated(
    samples: FloatArray, cues: tuple[Cue, ...], wishes: Wishes
) -> tuple[FloatArray, tuple[Cue, ...]]:
    length_s = len(samples) / wishes.rate
    again = tuple(
        replace(cue, start_s=cue.start_s + k * length_s, end_s=cue.end_s + k * length_s)
        for k in range(wishes.times)
        for cue in cues
    )
    return np.tile(samples, wishes.times), again

"""The third of one chord before and after: its spectrum where two partials nearly meet, and the beats of it.

Everything drawn is measured from rendered sound, not computed from the ratios. Only root and third sound: a partial
of a seventh that comes near would beat with them, and not stop when the third is pure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from retune.errors import OptionError
from retune.harmony.model import Role
from retune.harmony.spelling import spell_in_chord
from retune.listen.heard import HEARD_DTYPE
from retune.listen.tone import render_tones
from retune.parts.names import beat_words, chord_words, key_at, pitch
from retune.parts.rehearsal import interval_ratio
from retune.plots.style import AFTER, BEFORE
from retune.units import key_to_hz, reference_shift_cents

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from retune.harmony.model import Harmony
    from retune.ratios.model import Ratios
    from retune.score.model import Score
    from retune.tuning.model import Tuning

FloatArray = NDArray[np.float64]

RATE = 22050
SECONDS = 4.0
SHOWN_S = 1.5
DRAWN_STEP = 40  # of so many samples of a slow curve one is drawn
BAND = 0.02  # half of the band around the meeting partials, as a share of their frequency
_THIRDS = (3, 4)


@dataclass(frozen=True, slots=True)
class Meeting:
    """Two tones of a chord and the partials of theirs that nearly meet."""

    lower: int  # index among the notes of the chord
    upper: int
    ratio: tuple[int, int]  # partial of the lower, partial of the upper


def picture(
    score: Score,
    harmony: Harmony,
    ratios: Ratios,
    tuning: Tuning,
    reference_hz: float,
    start_tick: int,
    end_tick: int,
    title: str,
) -> Figure:
    """Draw the first of the longest chords with a third that starts from `start_tick` on, both times at a reference."""
    from matplotlib.figure import Figure

    window, notes = _chord(score, harmony, start_tick, end_tick)
    row = harmony.windows[window]
    middle = int(row["start_tick"] + row["end_tick"]) // 2
    keys = score.notes["key"][notes].astype(np.int64)
    retuned = tuning.at(notes, middle)
    equal = np.full(len(keys), reference_shift_cents(reference_hz))
    meeting = _meeting(keys, int(row["root_pc"]), ratios.tables[ratios.table_of_window[window]].pairs)
    both = [meeting.lower, meeting.upper]
    figure = Figure(figsize=(11.0, 5.5), layout="constrained")
    axes = figure.subplots(2, 2, sharex="row", sharey="row")
    key = harmony.key_at(int(row["start_tick"]))
    names = [spell_in_chord(int(pitch) % 12, row, key) for pitch in keys]
    takes = (("equal temperament", equal, BEFORE), ("retuned", retuned, AFTER))
    for column, (name, offsets, colour) in enumerate(takes):
        samples = _sound(keys[both], offsets[both])
        low, high = _partials(keys, offsets, meeting)
        _spectrum(axes[0, column], samples, (low, high), colour)
        _loudness(axes[1, column], samples, (low, high), colour)
        axes[0, column].set_title(f"{name}: {_rate_words(abs(low - high))}", color=colour)
        axes[0, column].set_xlabel(f"frequency [Hz]: {_meeting_words(keys, meeting, names)}")
    axes[0, 0].set_ylabel("level [dB]")
    axes[1, 0].set_ylabel("loudness of these partials")
    bar, beat = score.meters.spoken(int(row["start_tick"]))
    root = key_at(harmony, int(row["start_tick"])).tone(int(row["root_pc"]))
    where = f"bar {int(bar)}, beat {beat_words(float(beat))}: root and third of {chord_words(root, int(row['chord']))}"
    figure.suptitle(f"{title} · {where}" if title else where, x=0.01, ha="left")
    return figure


def _meeting_words(keys: NDArray[np.int64], meeting: Meeting, names: list[str]) -> str:
    lower, upper = (str(pitch(int(keys[i]), names[i])) for i in (meeting.lower, meeting.upper))
    return f"partial {meeting.ratio[0]} of {lower}, partial {meeting.ratio[1]} of {upper}"


def _rate_words(hz: float) -> str:
    return "no beats" if hz < 0.05 else f"{hz:.1f} beats a second"


def _chord(score: Score, harmony: Harmony, start_tick: int, end_tick: int) -> tuple[int, NDArray[np.int64]]:
    """Return the longest window with root and third sounding, and the lowest note of each chord tone."""
    windows, pieces = harmony.windows, harmony.pieces
    length = np.where(
        (windows["start_tick"] >= start_tick) & (windows["end_tick"] <= end_tick),
        windows["end_tick"] - windows["start_tick"],
        -1,
    )
    for window in np.argsort(-length, kind="stable")[:500]:
        if length[window] <= 0:
            break
        row = windows[window]
        middle = (row["start_tick"] + row["end_tick"]) // 2
        here = (pieces["window"] == window) & (pieces["role"] == Role.CHORD)
        here &= (pieces["start_tick"] <= middle) & (pieces["end_tick"] > middle)
        notes = np.unique(pieces["note"][here]).astype(np.int64)
        above = (score.notes["key"][notes].astype(np.int64) - int(row["root_pc"])) % 12
        if 0 in above and np.isin(above, _THIRDS).any():
            return int(window), notes
    raise OptionError("beats: no chord with a root and a third sounds there; choose other bars")


def _meeting(keys: NDArray[np.int64], root: int, pairs: tuple[tuple[int, int], ...]) -> Meeting:
    """Return the root and third whose partials meet lowest."""
    above = (keys - root) % 12
    found = []
    for a in np.flatnonzero(above == 0):
        for b in np.flatnonzero(np.isin(above, _THIRDS)):
            lower, upper = (int(i) for i in sorted((a, b), key=lambda i: int(keys[i])))
            ratio = interval_ratio(pairs[above[lower]], pairs[above[upper]], int(keys[upper] - keys[lower]))
            found.append((ratio[0] * key_to_hz(float(keys[lower]), 0.0), Meeting(lower, upper, ratio)))
    return min(found, key=lambda item: item[0])[1]


def _partials(keys: NDArray[np.int64], offsets: FloatArray, meeting: Meeting) -> tuple[float, float]:
    """Return the frequencies of the two partials that meet [Hz]."""
    hz = key_to_hz(keys.astype(np.float64), offsets)
    return float(hz[meeting.lower] * meeting.ratio[0]), float(hz[meeting.upper] * meeting.ratio[1])


def _sound(keys: NDArray[np.int64], offsets: FloatArray) -> FloatArray:
    rows = np.zeros(len(keys), HEARD_DTYPE)
    rows["tone"] = np.arange(len(keys))
    rows["end_s"] = rows["release_s"] = SECONDS
    rows["key"], rows["offset_cents"], rows["velocity"], rows["gain"] = keys, offsets, 80, 1.0
    return render_tones(rows, sound="organ", rate=RATE, length_s=SECONDS)


def _spectrum(axes: Axes, samples: FloatArray, partials: tuple[float, float], colour: str) -> None:
    """Draw the measured spectrum around the partials that meet."""
    steady = samples[RATE // 10 :]
    power = np.abs(np.fft.rfft(steady * np.blackman(len(steady)), 4 * len(steady)))
    hz = np.fft.rfftfreq(4 * len(steady), 1.0 / RATE)
    centre = sum(partials) / 2
    near = (hz > centre * (1 - BAND)) & (hz < centre * (1 + BAND))
    level = 20.0 * np.log10(power[near] / power[near].max() + 1e-6)
    axes.plot(hz[near], level, color=colour, linewidth=1.4)
    for partial in partials:
        axes.axvline(partial, color=colour, linewidth=0.7, linestyle=":")
    axes.set_ylim(-60.0, 6.0)


def _loudness(axes: Axes, samples: FloatArray, partials: tuple[float, float], colour: str) -> None:
    """Draw how the sound of the band swells and fades."""
    spectrum = np.fft.fft(samples)
    hz = np.fft.fftfreq(len(samples), 1.0 / RATE)
    centre = sum(partials) / 2
    half = max(3.0 * abs(partials[0] - partials[1]), BAND * centre)
    spectrum[(hz < centre - half) | (hz > centre + half)] = 0.0
    envelope = 2.0 * np.abs(np.fft.ifft(spectrum))
    seconds = np.arange(len(samples)) / RATE
    shown = slice(RATE, RATE + int(SHOWN_S * RATE), DRAWN_STEP)
    axes.plot(seconds[shown] - 1.0, envelope[shown], color=colour, linewidth=1.4)
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel("time [s]")

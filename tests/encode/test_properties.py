"""Random music through every encoding that a plain receiver can follow: what is heard is what was wanted."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.encode import encode
from retune.options import Options
from retune.score import Score, read_score
from retune.tuning.model import Tuning
from tests.encode.build import Event, file_of, in_order, note, tuning_of
from tests.encode.receiver import Heard, hear

OFFSETS = st.one_of(
    st.sampled_from([0.0, -13.6863, 1.955, 15.6413, -31.1741]),
    st.floats(-60, 60).map(lambda c: round(c, 3)),
)
TICKS = st.integers(0, 20).map(lambda n: n * 60)
NOTES = st.lists(
    st.tuples(
        st.integers(0, 2),  # channel
        TICKS,
        st.integers(0, 9).map(lambda n: n * 60),  # length, also none at all
        st.integers(58, 66),
        OFFSETS,
        st.lists(st.tuples(st.integers(1, 9), st.floats(-2, 2)), max_size=2),  # moves: sixtieths on, cents
    ),
    min_size=4,
    max_size=30,
)
MESSAGES = st.lists(
    st.tuples(
        TICKS,
        st.integers(0, 3),  # channel; the last one has no notes
        st.sampled_from(
            [
                "control_change control=64 value=127",
                "control_change control=64 value=0",
                "control_change control=7 value=90",
                "control_change control=11 value=40",
                "control_change control=1 value=9",
                "control_change control=121 value=0",
                "program_change program=40",
                "program_change program=12",
                "aftertouch value=55",
                "pitchwheel pitch=1000",
                "pitchwheel pitch=-4000",
                "pitchwheel pitch=0",
                "nrpn",
                "range",
                "bank",
            ]
        ),
    ),
    min_size=2,
    max_size=14,
)
CARRIES_TUNING = (
    (0, 0),
    (0, 3),
    (0, 4),
    (0, 6),
)  # RPN: bend range, tuning program and bank, MPE configuration
GROUPS = {
    "nrpn": ((99, 1), (98, 8), (6, 70)),
    "range": ((101, 0), (100, 0), (6, 12), (38, 0)),
    "bank": ((0, 1), (32, 3)),
}


def expand(tick: int, channel: int, text: str) -> list[Event]:
    """A message, or the controllers of a group, on a channel."""
    if text in GROUPS:
        return [(tick, f"control_change channel={channel} control={c} value={v}") for c, v in GROUPS[text]]
    kind, rest = text.split(" ", 1)
    return [(tick, f"{kind} channel={channel} {rest}")]


def build(notes, messages, kind: int) -> tuple[bytes, list]:
    """A file of format `kind`, and the notes in the order of the score. Velocities tell notes apart."""
    groups: dict[int, list[list[Event]]] = {c: [] for c in range(4)}
    for tick, channel, text in messages:
        groups[channel].append(expand(tick, channel, text))
    for k, (channel, on, length, key, _, _) in enumerate(notes):
        groups[channel].append(note(on, on + length, key, channel, velocity=k + 1, release=k + 40))
    if kind == 0:
        return file_of([_ordered([g for c in range(4) for g in groups[c]])], kind=0, end=4000), notes
    return file_of([_ordered(groups[c]) for c in range(4)], kind=1, end=4000), notes


def _ordered(groups: list[list[Event]]) -> list[Event]:
    """Events by tick: note-offs of longer notes, then the rest as given (a note of no length stays whole)."""
    rows = [(t, text, i) for i, group in enumerate(groups) for t, text in group]
    starts = {i: group[0][0] for i, group in enumerate(groups)}
    rows.sort(key=lambda r: (r[0], not (r[1].startswith("note_off") and starts[r[2]] < r[0])))
    return [(t, text) for t, text, _ in rows]


def wanted(score: Score, notes) -> Tuning:
    """The tuning the drawn notes ask for."""
    offsets = []
    for row in score.notes:
        _, _, _, _, cents, moves = notes[int(row["velocity"]) - 1]
        start, end = int(row["onset_tick"]), int(row["sounding_end_tick"])
        steps, level = [(start, cents)], cents
        for sixtieth, change in moves:
            tick = steps[-1][0] + 60 * sixtieth
            if tick < end and abs(change) > 0.1:
                level += change
                steps.append((tick, level))
        offsets.append(steps)
    return tuning_of(score, offsets)


def at(course, tick: int) -> float:
    return [value for start, value in course if start <= tick][-1]


def signature(heard: Heard) -> tuple:
    return heard.on, heard.off, heard.key, heard.velocity, heard.release, heard.port


def state_of(heard: Heard) -> tuple:
    controls = {7: 100, 11: 127, **heard.state.controls}
    parameters = {k: v for k, v in heard.state.parameters.items() if k[1:] not in CARRIES_TUNING}
    return heard.state.program, heard.state.pressure, Counter(controls) - Counter({7: 0}), parameters


def settings_of(heard: Heard) -> dict:
    """What reaches the note while its key is down: the last value of each tick, changes only."""
    found = {}
    for what, changes in heard.settings.items():
        if isinstance(what, tuple) and what[1:] in CARRIES_TUNING:
            continue
        start = {7: 100, 11: 127, "program": heard.state.program, "pressure": heard.state.pressure}
        value = heard.state.controls.get(what, start.get(what, 0))
        if isinstance(what, tuple):
            value = tuple(heard.state.parameters.get(what, ()))
        for tick, new in dict(changes).items():
            if heard.on < tick < heard.off and new != value:
                found.setdefault(what, []).append((tick, new))
                value = new
    return found


def compare(
    original: bytes, result: bytes, score: Score, tuning: Tuning, tolerance: float, *, tails: bool = True
) -> None:
    """Every note as it was, tuned as wanted on top of what the input bends, and set up as in the input.

    `tails`: also after the release, while a pedal holds the note.
    """
    before = {h.velocity: h for h in hear(original)}
    after = {h.velocity: h for h in hear(result)}
    assert {v: signature(h)[:5] for v, h in before.items()} == {v: signature(h)[:5] for v, h in after.items()}
    for index, row in enumerate(score.notes):
        old, new = before[int(row["velocity"])], after[int(row["velocity"])]
        steps = [
            (int(r["start_tick"]), float(r["offset_cents"]))
            for r in tuning.offsets[tuning.offsets["note"] == index]
        ]
        end = int(row["sounding_end_tick" if tails else "release_tick"])
        was, now = old.curve, new.curve
        if end > old.off:
            was, now = was + old.ringing, now + new.ringing
        ticks = {t for t, _ in [*was, *now, *steps] if t < end or t == old.on}
        for tick in ticks:
            assert abs(at(now, tick) - at(was, tick) - at(steps, tick)) <= tolerance, (tick, old, new)
        assert state_of(old) == state_of(new)
        assert settings_of(old) == settings_of(new)


@settings(max_examples=100, deadline=None)
@given(NOTES, MESSAGES, st.sampled_from([0, 1]), st.sampled_from([2, 12]))
def test_bends_sound_as_wanted(notes, messages, kind, semitones):
    original, _ = build(notes, messages, kind)
    score = read_score(original)
    tuning = wanted(score, notes)
    encoded = encode(score, tuning, Options(bend_range_semitones=semitones))
    reach = max(semitones, 12 if any(m[2] == "range" for m in messages) else 4)
    step = 100 * reach / 8192
    compare(original, encoded.files[0].data, score, tuning, encoded.worst_error_cents + step + 1e-6)
    if len(notes) <= 12:
        assert (
            encoded.worst_error_cents <= step + 1e-9
        )  # half a step for the tuning, half for bends of the input


@settings(max_examples=60, deadline=None)
@given(NOTES, MESSAGES, st.sampled_from([0, 1]), st.booleans())
def test_mpe_sounds_as_wanted(notes, messages, kind, keep_10_free):
    """A receiver of M1-100-UM zones: manager and member bends add; tails no longer follow (2.2.6)."""
    original, _ = build(notes, messages, kind)
    score = read_score(original)
    tuning = wanted(score, notes)
    encoded = encode(score, tuning, Options(encoding="mpe", keep_channel_10_free=keep_10_free))
    data = encoded.files[0].data
    step = 100 * (12 if any(m[2] == "range" for m in messages) else 4) / 8192
    compare(original, data, score, tuning, encoded.worst_error_cents + step + 1e-6, tails=False)
    assert encoded.worst_error_cents <= 0.0123 + step / 2 or encoded.remarks
    if keep_10_free:
        assert all(h.channel != 9 for h in hear(data))


@settings(max_examples=60, deadline=None)
@given(NOTES, MESSAGES, st.sampled_from([0, 1]), st.sampled_from(["mts", "mts-octave"]))
def test_tables_sound_as_wanted(notes, messages, kind, encoding):
    """A receiver of real-time tuning changes: key tables by tuning program, octave tables by channel."""
    original, _ = build(notes, messages, kind)
    score = read_score(original)
    tuning = wanted(score, notes)
    encoded = encode(score, tuning, Options(encoding=encoding))
    data = encoded.files[0].data
    compare(original, data, score, tuning, encoded.worst_error_cents + 1e-6)
    step = 100 / 16384 if encoding == "mts" else 100 / 8192
    assert encoded.worst_error_cents <= step / 2 + 1e-9 or encoded.remarks


@settings(max_examples=15, deadline=None)
@given(NOTES, MESSAGES)
def test_the_same_input_gives_the_same_bytes(notes, messages):
    original, _ = build(notes, messages, 1)
    score = read_score(original)
    tuning = wanted(score, notes)
    first = encode(score, tuning, Options())
    again = encode(read_score(original), tuning, Options())
    assert first == again


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(-90, 90), min_size=16, max_size=40), st.integers(0, 3))
def test_sharing_is_as_good_as_the_best_partition_of_one_chord(cents, parts):
    """Against the exact best partition of points on a line, by trying every width between two of them."""
    tracks = [
        in_order(
            *(note(0, 480, 30 + k, c, velocity=k + 1) for k in range(len(cents)) if k % (parts + 1) == c)
        )
        for c in range(parts + 1)
    ]
    original = file_of(tracks)
    score = read_score(original)
    by_velocity = [cents[int(v) - 1] for v in score.notes["velocity"]]
    tuning = tuning_of(score, by_velocity)
    encoded = encode(score, tuning, Options())
    of_part = [
        [c for c, p in zip(by_velocity, score.notes["part"], strict=True) if p == k] for k in range(parts + 1)
    ]
    assert encoded.worst_error_cents <= _best_width(of_part, 15) + 0.05
    errors = [abs(h.curve[0][1] - cents[h.velocity - 1]) for h in hear(encoded.files[0].data)]
    assert max(errors) == pytest.approx(encoded.worst_error_cents, abs=0.02)


def _best_width(of_part: list[list[float]], channels: int) -> float:
    widths = sorted({0.0} | {abs(a - b) / 2 for part in of_part for a in part for b in part})
    for width in widths:
        groups = 0
        for part in of_part:
            low = -np.inf
            for cents in sorted(part):
                if cents > low + 2 * width + 1e-9:
                    low, groups = cents, groups + 1
        if groups <= channels:
            return width
    raise AssertionError

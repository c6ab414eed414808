"""Figures against a plain walk over every pair, on real music with made-up pitches, and against worked cases."""

from __future__ import annotations

import math
from itertools import pairwise

import mido
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.check import decode, figures, figures_of_tuning
from retune.check.measures.figures import displacement, figures_of_sounding
from retune.check.measures.pairs import consonant_pairs, per_bar
from retune.check.measures.tuned import TunedNotes, equal_tempered, heard, tuned
from retune.check.receiver.sounding import Sounding
from retune.harmony.model import KEY_DTYPE, PIECE_DTYPE, WINDOW_DTYPE, Harmony
from retune.ratios.model import Ratios, RatioTable
from retune.score import read_score
from retune.tuning.model import OFFSET_DTYPE, Tuning
from tests.check.build import smf
from tests.check.music import WORKS, edited, real_file

PURE = {0: 1 / 1, 3: 6 / 5, 4: 5 / 4, 5: 4 / 3, 7: 3 / 2, 8: 8 / 5, 9: 5 / 3}


def wobbly(data: bytes, seed: int) -> bytes:
    """The file with bends at random places."""
    random = np.random.default_rng(seed)

    def change(_: int, track: mido.MidiTrack) -> list[mido.Message]:
        messages: list[mido.Message] = []
        for message in track:
            if not message.is_meta and random.random() < 0.4:
                pitch = int(random.normal(0, 600))
                wheel = mido.Message("pitchwheel", channel=message.channel, pitch=pitch, time=message.time)
                messages.append(wheel)
            messages.append(message)
        return messages

    return edited(data, change)


def plain_figures(sounding: Sounding) -> dict[str, float]:
    """The definitions of docs/checking.md, one note and one pair at a time."""
    notes = []
    for number, note in enumerate(sounding.notes):
        on, off = int(note["onset_tick"]), int(note["release_tick"])
        rows = [
            (int(r["start_tick"]), min(int(r["end_tick"]), off), float(r["cents"]))
            for r in sounding.curve[sounding.curve["note"] == number]
        ]
        rows = [row for row in rows if row[1] > row[0]]
        if rows and not note["percussion"]:
            part = (int(note["port"]), int(note["track"]), int(note["channel"]))
            notes.append((on, off, int(note["key"]), part, rows))
    found: list[tuple[float, int]] = []
    for i, (_, _, key, _, rows) in enumerate(notes):
        for _, _, other_key, _, other_rows in notes[i + 1 :]:
            low, high = sorted(((key, rows), (other_key, other_rows)), key=lambda voice: voice[0])
            interval = (high[0] - low[0]) % 12
            if interval not in PURE:
                continue
            pure = 1200 * math.log2(PURE[interval]) - 100 * interval
            for start, end, cents in low[1]:
                for other_start, other_end, other_cents in high[1]:
                    both = min(end, other_end) - max(start, other_start)
                    if both > 0:
                        found.append((abs(other_cents - cents - pure), both))
    found.sort()
    total = sum(length for _, length in found)
    reached, p95 = 0, found[-1][0]
    for deviation, length in found:
        reached += length
        if reached / total >= 0.95:
            p95 = deviation
            break
    moves = [max(r[2] for r in rows) - min(r[2] for r in rows) for *_, rows in notes]
    lines: dict[object, list[tuple[int, int, float, float]]] = {}
    for on, off, key, part, rows in notes:
        lines.setdefault((part, key), []).append((on, off, rows[0][2], rows[-1][2]))
    shifts = [
        abs(later[2] - earlier[3])
        for line in lines.values()
        for earlier, later in pairwise(sorted(line, key=lambda note: note[0]))
        if 0 <= later[0] - earlier[1] < 2 * sounding.ticks_per_quarter
    ]
    return {
        "mean_deviation_cents": sum(d * w for d, w in found) / total,
        "share_within_1_cent": sum(w for d, w in found if d <= 1) / total,
        "deviation_p95_cents": p95,
        "held_movement_max_cents": max(moves),
        "held_movement_p99_cents": float(np.percentile(moves, 99)),
        "repeat_shift_p95_cents": float(np.percentile(shifts, 95)),
    }


@pytest.mark.parametrize("work", WORKS)
def test_real_music_with_wandering_pitches_against_a_plain_walk(work: str) -> None:
    data = wobbly(real_file(work), seed=len(work))
    sounding = decode(data)
    found = figures_of_sounding(sounding).as_dict()
    for name, value in plain_figures(sounding).items():
        assert found[name] == pytest.approx(value, abs=1e-6), name


def test_equal_temperament_by_hand() -> None:
    """A C major triad for a quarter: 13.686 (C-E), 1.955 (C-G) and 15.641 (E-G) cents from pure (Ellis 1885)."""
    data = smf("00 90 3C 40 00 90 40 40 00 90 43 40 83 60 80 3C 40 00 80 40 40 00 80 43 40")
    found = figures_of_sounding(decode(data))
    assert found.mean_deviation_cents == pytest.approx((13.686286 + 1.955001 + 15.641287) / 3, abs=1e-5)
    assert found.share_within_1_cent == 0.0
    assert found.deviation_p95_cents == pytest.approx(15.641287, abs=1e-5)
    assert found.held_movement_max_cents == 0.0
    assert found.repeat_shift_p95_cents == 0.0
    assert found.displacement_max_cents is None


def test_pure_triad_in_the_wheel_steps_of_range_2() -> None:
    """Bytes of a channel-per-note chord: E at 4F 3B, G at 50 40; a step is 0.0244 cents (MIDI 1.0 p. 19)."""
    chord = "00 E0 00 40 00 E1 4F 3B 00 E2 50 40 00 90 3C 40 00 91 40 40 00 92 43 40"
    found = figures_of_sounding(decode(smf(chord + "83 60 80 3C 40 00 81 40 40 00 82 43 40")))
    assert found.mean_deviation_cents == pytest.approx(0.0, abs=0.0123)
    assert found.share_within_1_cent == 1.0


def test_octaves_dissonances_and_drums() -> None:
    """Compound intervals count as simple ones; seconds, tritones, sevenths and channel 10 do not count."""
    octave = figures_of_sounding(decode(smf("00 90 30 40 00 90 3C 40 60 80 30 40 00 80 3C 40")))
    assert octave.share_within_1_cent == 1.0
    tritone = figures_of_sounding(decode(smf("00 90 3C 40 00 90 42 40 60 80 3C 40 00 80 42 40")))
    assert tritone.mean_deviation_cents is None
    drums = figures_of_sounding(decode(smf("00 99 3C 40 00 99 40 40 60 89 3C 40 00 89 40 40")))
    assert drums == figures_of_sounding(decode(smf("00 FF 01 01 78")))


def notes_of(rows: list[tuple[int, int, int, float]]) -> TunedNotes:
    """Notes of one part from (start, end, key, cents)."""
    rows = sorted(rows)
    start, end, key, cents = (np.array(column) for column in zip(*rows, strict=True))
    return TunedNotes(
        ticks_per_quarter=480.0,
        onset=start,
        release=end,
        key=key,
        part=np.zeros(len(rows), dtype=np.int64),
        note=np.arange(len(rows)),
        start=start,
        end=end,
        cents=cents.astype(float),
    )


@settings(max_examples=60)
@given(
    st.lists(
        st.tuples(st.integers(0, 40), st.integers(1, 30), st.integers(40, 70), st.floats(-50, 50)),
        min_size=2,
        max_size=25,
    )
)
def test_every_overlap_is_found_once(raw: list[tuple[int, int, int, float]]) -> None:
    notes = notes_of([(start, start + length, key, cents) for start, length, key, cents in raw])
    pairs = consonant_pairs(notes)
    expected = []
    for i in range(len(notes.note)):
        for j in range(i + 1, len(notes.note)):
            both = min(notes.end[i], notes.end[j]) - max(notes.start[i], notes.start[j])
            if both > 0 and abs(int(notes.key[i] - notes.key[j])) % 12 in PURE:
                expected.append((min(i, j), max(i, j), int(both)))
    found = zip(pairs.earlier.tolist(), pairs.later.tolist(), pairs.length.tolist(), strict=True)
    assert sorted((min(a, b), max(a, b), w) for a, b, w in found) == sorted(expected)


def test_long_pedal_point_costs_its_pairs_only() -> None:
    """A drone under 100 000 short notes makes 100 000 pairs, not 100 000 squared."""
    starts = np.arange(100_000) * 10
    rows = [(0, 1_000_000, 36, 0.0), *((int(start), int(start) + 10, 48, 2.0) for start in starts)]
    pairs = consonant_pairs(notes_of(rows))
    assert len(pairs.deviation) == 100_000
    assert pairs.mean() == pytest.approx(2.0)


def test_crowds_are_sampled_evenly(monkeypatch: pytest.MonkeyPatch) -> None:
    """Above the limit every n-th row stands for all: the mean of a repeating pattern stays."""
    rows = [(k * 10, k * 10 + 35, 60 + 7 * (k % 2), float(k % 2)) for k in range(4000)]
    whole = consonant_pairs(notes_of(rows))
    monkeypatch.setattr("retune.check.measures.pairs.MOST_PAIRS", 2000)
    some = consonant_pairs(notes_of(rows))
    assert len(some.deviation) <= 2001 < len(whole.deviation)
    assert some.mean() == pytest.approx(whole.mean(), rel=0.02)


def test_bars_share_a_pair_that_crosses_the_barline() -> None:
    """4/4 at 480: a fifth from beat 3 of bar 1 to beat 3 of bar 2, retuned at the barline."""
    score = read_score(smf("87 40 90 3C 40 00 90 43 40 8F 00 80 3C 40 00 80 43 40"))
    rows = [(0, 960, 2880, 0.0), (1, 960, 1920, 0.0), (1, 1920, 2880, 1.955001)]
    offsets = np.array(rows, dtype=OFFSET_DTYPE)
    pairs = consonant_pairs(tuned(score, Tuning(offsets=offsets, displacement_cents=np.zeros(0))))
    bars, cents = per_bar(pairs, score.meters)
    assert bars.tolist() == [1, 2]
    assert cents == pytest.approx([1.955001, 0.0], abs=1e-6)
    bars, cents = per_bar(consonant_pairs(equal_tempered(score)), score.meters)
    assert bars.tolist() == [1, 2]
    assert cents == pytest.approx([1.955001, 1.955001], abs=1e-6)


def test_bars_weigh_pairs_by_their_time_inside() -> None:
    """A long fifth off by 1.955 from bar 1 into bar 2, a short octave, pure, on the last beat of bar 2."""
    fifth = "83 60 90 3C 40 00 90 43 40"
    octave = "96 40 91 30 40 00 91 3C 40 83 60 81 30 40 00 81 3C 40 00 80 3C 40 00 80 43 40"
    score = read_score(smf(fifth + octave))
    bars, cents = per_bar(consonant_pairs(equal_tempered(score)), score.meters)
    assert bars.tolist() == [1, 2]
    # Bar 2: the fifth C-G four beats; in the last one also C-C twice, C-C, and two more fifths below G.
    pure_beats, fifth_beats = 3, 4 + 2
    assert cents == pytest.approx([1.955001, 1.955001 * fifth_beats / (fifth_beats + pure_beats)], abs=1e-6)


def test_a_chord_held_for_millions_of_bars() -> None:
    """One tick to the quarter: the first bars of a long one are given, and those where something changes."""
    score = read_score(
        smf("00 90 3C 40 00 90 43 40 FF FF FF 70 80 43 40 00 90 40 40 04 80 40 40 00 80 3C 40", division=1)
    )
    bars, cents = per_bar(consonant_pairs(equal_tempered(score)), score.meters)
    assert bars[:8].tolist() == [1, 2, 3, 4, 5, 6, 7, 8]
    assert len(bars) <= 1_000_002
    assert int(bars[-1]) == 0x0FFFFFF0 // 4 + 1
    assert cents[[0, 7]] == pytest.approx(1.955001, abs=1e-6)
    assert cents[-1] == pytest.approx(13.686286, abs=1e-6)  # a major third


def one_window(score_notes: int, root: int, members: int, end: int) -> Harmony:
    windows = np.array([(0, end, root, root, -1, members, False)], dtype=WINDOW_DTYPE)
    pieces = np.array([(k, 0, 0, end, 0) for k in range(score_notes)], dtype=PIECE_DTYPE)
    return Harmony(windows=windows, pieces=pieces, keys=np.zeros(0, dtype=KEY_DTYPE))


def offsets_of(cents: list[float], end: int) -> Tuning:
    rows = [(note, 0, end, value) for note, value in enumerate(cents)]
    return Tuning(offsets=np.array(rows, dtype=OFFSET_DTYPE), displacement_cents=np.zeros(1))


TRIAD = "00 90 3C 40 00 90 40 40 00 90 43 40 83 60 80 3C 40 00 80 40 40 00 80 43 40"


def test_displacement_is_where_the_root_sounds() -> None:
    score = read_score(smf(TRIAD))
    harmony = one_window(3, 0, 0b10010001, 480)
    found = figures_of_tuning(score, harmony, offsets_of([-7.0, -20.7, -5.0], 480))
    assert (found.displacement_max_cents, found.displacement_end_cents) == (7.0, -7.0)
    shifted = figures_of_tuning(score, harmony, offsets_of([-7.0, -20.7, -5.0], 480), reference_cents=-10.0)
    assert shifted.displacement_end_cents == pytest.approx(3.0)


def test_displacement_without_a_root_follows_from_the_chord_tones() -> None:
    """A minor over C, E and G would be a seventh on A: its third +15.64, its fifth +1.96 above the root."""
    score = read_score(smf(TRIAD))
    members = 1 | 1 << 3 | 1 << 7 | 1 << 10
    tuning = offsets_of([15.641287 + 4.0, 1.955001 + 4.0, 99.0], 480)  # the seventh has no consonance
    found = figures_of_tuning(score, one_window(3, 9, members, 480), tuning)
    assert found.displacement_end_cents == pytest.approx(4.0, abs=1e-5)


def test_displacement_by_ratios() -> None:
    """With 9/5 for the seventh (+17.60) it counts as well."""
    score = read_score(smf(TRIAD))
    pairs = [
        (1, 1),
        (16, 15),
        (9, 8),
        (6, 5),
        (5, 4),
        (4, 3),
        (7, 5),
        (3, 2),
        (8, 5),
        (5, 3),
        (9, 5),
        (15, 8),
    ]
    ratios = Ratios(tables=(RatioTable(tuple(pairs)),), table_of_window=np.zeros(1, dtype=np.int64))
    tuning = offsets_of([15.641287 + 4.0, 1.955001 + 4.0, 17.596288 + 7.0], 480)
    harmony = one_window(3, 9, 1 | 1 << 3 | 1 << 7 | 1 << 10, 480)
    assert displacement(tuned(score, tuning), harmony, ratios) == pytest.approx([5.0], abs=1e-5)


def test_tuning_before_writing_and_after_decoding_agree() -> None:
    data = smf("00 E0 00 50 " + TRIAD)
    assert (
        figures(heard(decode(data))).as_dict()
        == figures_of_tuning(read_score(data), None, offsets_of([50.0, 50.0, 50.0], 480)).as_dict()
    )


def test_a_seventh_chord_of_4_5_6_7_is_pure_at_prime_limit_7_alone() -> None:
    """Consonant are 4:5, 4:6, 5:6, 6:7; the last is 48.77 cents from 5:6 (Ellis in Helmholtz 1885, App. XX)."""
    chord = [(0, 480, 60, 0.0), (0, 480, 64, -13.686), (0, 480, 67, 1.955), (0, 480, 70, -31.174)]
    notes = notes_of(chord)
    assert figures(notes, prime_limit=7).mean_deviation_cents == pytest.approx(0.0, abs=0.001)
    assert figures(notes, prime_limit=5).mean_deviation_cents == pytest.approx(48.770 / 4, abs=0.001)
    assert figures(notes).mean_deviation_cents == figures(notes, prime_limit=5).mean_deviation_cents
    assert consonant_pairs(notes, 7).form.tolist() == [0, 0, 0, 1]


def test_at_prime_limit_7_the_usual_thirds_stay_pure() -> None:
    triad = notes_of([(0, 480, 60, 0.0), (0, 480, 63, 15.641), (0, 480, 67, 1.955)])
    assert figures(triad, prime_limit=7).mean_deviation_cents == pytest.approx(0.0, abs=0.001)


def test_at_prime_limit_3_thirds_are_those_of_fifths() -> None:
    """C–E of four pure fifths, 81/64 = 407.82 cents (Barbour 1951)."""
    third = notes_of([(0, 480, 60, 0.0), (0, 480, 64, 7.820)])
    assert figures(third, prime_limit=3).mean_deviation_cents == pytest.approx(0.0, abs=0.001)
    assert figures(third, prime_limit=5).mean_deviation_cents == pytest.approx(21.506, abs=0.001)

"""Keys of the sections of a piece: published key profiles, smoothed over time."""

from __future__ import annotations

from functools import cache

import numpy as np
from mido import MetaMessage
from numpy.typing import NDArray

from retune.arrays import begins
from retune.harmony.evidence.steps import Steps
from retune.harmony.finder.decode import best_path
from retune.harmony.model import KEY_DTYPE, keys_at
from retune.score.model import FloatArray, IntArray, Score

MAJOR = (0.238, 0.006, 0.111, 0.006, 0.137, 0.094, 0.016, 0.214, 0.009, 0.080, 0.008, 0.081)
MINOR = (0.220, 0.006, 0.104, 0.123, 0.019, 0.103, 0.012, 0.214, 0.062, 0.022, 0.061, 0.052)
"""Share of each pitch class above the tonic (Albrecht & Shanahan, Music Perception 31(1), 2013)."""

KEY_CHANGE_COST = 6.0  # experiment: sections of at least a few bars, no key for a single chord
SECTION_BEATS = 4  # a key is decided per so many beats

MOST_FLATS, MOST_SHARPS = -7, 8  # C♭ major, and G♯ major as the dominant of C♯ minor
WRITTEN, MANY_SIGNS, FEW_SIGNS = 2.0, 1.5, 0.01
"""What counts against a spelling: a fifth away from the file's signature, a sign above six, and, between two alike, any
sign (experiment; a fifth from one key to the next counts 1)."""

FIFTHS_OF_MAJOR = (0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5)
"""Key signature of the major key on each pitch class (common practice); F♯ rather than G♭."""


@cache
def key_table() -> FloatArray:
    """(12, 24) log likelihood of each pitch class in the 12 major, then the 12 minor keys."""
    above = (np.arange(12)[:, None] - np.arange(12)) % 12
    return np.hstack([np.log(profile)[above] for profile in (MAJOR, MINOR)])


def key_fit(amount: FloatArray) -> FloatArray:
    """(n, 24) log likelihood of the amounts of 12 pitch classes in the 24 keys of `key_table`."""
    result: FloatArray = amount @ key_table()
    return result


def find_keys(score: Score, steps: Steps) -> NDArray[np.void]:
    """KEY_DTYPE rows from the first onset to the last sounding end; none without pitched notes."""
    if not len(steps):
        return np.zeros(0, dtype=KEY_DTYPE)
    section = np.floor(steps.at / SECTION_BEATS + 1e-6)
    first = np.flatnonzero(begins(section))
    fit = key_fit(np.add.reduceat(steps.amount, first, axis=0))
    path = best_path(fit, np.full(len(first), KEY_CHANGE_COST))
    turn = np.flatnonzero(begins(path))
    keys = np.zeros(len(turn), dtype=KEY_DTYPE)
    keys["start_tick"] = steps.bounds[first[turn]]
    keys["end_tick"] = np.append(steps.bounds[first[turn[1:]]], steps.bounds[-1])
    keys["tonic_pc"] = path[turn] % 12
    keys["minor"] = path[turn] >= 12
    keys["fifths"] = _fifths(keys, _written_signature(score, keys["start_tick"]))
    return keys


def tonics_at(keys: NDArray[np.void], ticks: IntArray) -> tuple[IntArray, IntArray]:
    """(n,) tonic and mode (0 major, 1 minor) of the key in force at each tick."""
    row = keys[keys_at(keys, ticks)]
    return row["tonic_pc"].astype(np.int64), row["minor"].astype(np.int64)


def _fifths(keys: NDArray[np.void], written: IntArray) -> list[int]:
    """Signature of each key: of enharmonic ones those with the least way from key to key and from what the file says.

    Alone F♯ major goes before G♭ major, but E♭ minor before D♯ minor, whose dominant has a double sharp.
    """
    # For each key, by signature: the cost of the best way there, and the signature before it on that way.
    ways: list[dict[int, tuple[float, int]]] = [{}]
    columns = keys["tonic_pc"].tolist(), keys["minor"].tolist(), written.tolist()
    for tonic, minor, signature in zip(*columns, strict=True):
        way = {}
        for fifths, cost in _spellings(tonic, minor, signature):
            reached = [(so_far + abs(fifths - old), old) for old, (so_far, _) in ways[-1].items()]
            least, before = min(reached, default=(0.0, fifths))
            way[fifths] = least + cost, before
        ways.append(way)
    path = [min((cost, fifths) for fifths, (cost, _) in ways[-1].items())[1]]
    for way in ways[:1:-1]:
        path.append(way[path[-1]][1])
    return path[::-1]


def _spellings(tonic: int, minor: bool, written: int) -> list[tuple[int, float]]:
    """(signature, what counts against it) of the enharmonic spellings of a key, from flat to sharp."""
    usual = FIFTHS_OF_MAJOR[(tonic + 3 * minor) % 12]
    choices = [fifths for fifths in (usual - 12, usual, usual + 12) if MOST_FLATS <= fifths <= MOST_SHARPS]
    signs = [MANY_SIGNS * max(abs(f) - 6, 0) + FEW_SIGNS * abs(f + minor - 0.5) for f in choices]
    away = [WRITTEN * abs(fifths - written) * (written != 0) for fifths in choices]
    return [(fifths, a + b) for fifths, a, b in zip(choices, signs, away, strict=True)]


def _written_signature(score: Score, ticks: IntArray) -> IntArray:
    """Fifths of the key signature in force at each tick, 0 where the file has none."""
    found = [
        (
            int(track.ticks[k]),
            _SIGNATURES.get(message.key.removesuffix("m"), 0) - 3 * message.key.endswith("m"),
        )
        for track in score.tracks
        for k, message in enumerate(track.messages)
        if type(message) is MetaMessage and message.type == "key_signature"
    ]
    if not found:
        return np.zeros(len(ticks), dtype=np.int64)
    found.sort()
    at = np.searchsorted([tick for tick, _ in found], ticks, side="right") - 1
    result: IntArray = np.where(at >= 0, np.array([fifths for _, fifths in found])[np.maximum(at, 0)], 0)
    return result


_SIGNATURES = {
    name + sign: fifths + 7 * octave
    for octave, sign in ((-1, "b"), (0, ""), (1, "#"))
    for fifths, name in enumerate("FCGDAEB", start=-1)
}

"""What each non-chord tone does: from how it is reached and left in its part, and where it stands.

Definitions are those of ordinary harmony textbooks (common practice, no source).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.arrays import among, begins, ends
from retune.harmony.evidence.motion import NONE, Motion
from retune.harmony.evidence.steps import Steps
from retune.harmony.model import Role
from retune.score.model import IntArray

Flags = NDArray[np.bool_]

PEDAL_WINDOWS = 3  # a note that sounds through at least this many windows can be a pedal
BEAT = 2  # metrical strength of a beat, see `Grid.strength`
MOST_REPEATS = 4  # of a suspension that is struck again before it resolves


def find_roles(
    steps: Steps,
    notes: NDArray[np.void],
    note: IntArray,
    pieces: NDArray[np.void],
    windows: NDArray[np.void],
) -> NDArray[np.int8]:
    """(n_pieces,) Role of each piece; `notes` are the pitched notes, `note` the row of each piece in them."""
    window = pieces["window"]
    belongs = _belongs(notes["key"][note], window, windows)
    motion = steps.motion
    into, out = motion.into[note], motion.out[note]
    step_in, step_out = _is_step(into), _is_step(out)
    strength = steps.strength[steps.first]
    ahead = np.where(motion.after >= 0, strength[motion.after], BEAT)  # strength of the place it goes on to
    weaker = (strength > ahead)[note]
    accented = ((strength <= BEAT) | (strength < ahead))[note]
    opening = begins(note)
    last = ends(note)
    before = np.concatenate([[False], belongs[:-1]]) & ~opening
    spans = np.bincount(note, minlength=len(notes))[note]
    later = _belongs(notes["key"][note], np.minimum(window + 1, len(windows) - 1), windows)
    key, opens, closes = notes["key"].astype(np.int64), window[opening], window[last]
    changing = _changing(motion, key, opens, closes)
    prepared, resolved = _suspended(motion, key, opens, closes, accented[opening])
    prepared, resolved = before | (opening & prepared[note]), resolved[note]

    role = np.full(len(note), int(Role.OTHER), dtype=np.int8)
    rules = [
        (opening & step_out & ~step_in & accented, Role.APPOGGIATURA),
        (opening & step_in & step_out & (np.sign(into) == -np.sign(out)), Role.NEIGHBOUR),
        (opening & changing[note], Role.NEIGHBOUR),
        (opening & step_in & step_out & (np.sign(into) == np.sign(out)), Role.PASSING),
        (opening & weaker & (out == 0) & later, Role.ANTICIPATION),
        (opening & ~last & later & ~step_out, Role.ANTICIPATION),
        (spans >= PEDAL_WINDOWS, Role.PEDAL),
        (opening & (into == 0) & (out == 0) & ~(weaker & later), Role.PEDAL),
        (prepared & ((step_out & last) | resolved), Role.SUSPENSION),
        (belongs, Role.CHORD),
    ]
    for where, name in rules:  # a later rule overrules an earlier one
        role[where] = int(name)
    return role


def _suspended(
    motion: Motion, key: IntArray, opens: IntArray, closes: IntArray, accented: Flags
) -> tuple[Flags, Flags]:
    """(n_notes,) struck again as a suspension is; resolved by step downwards, at once or after an ornament.

    `opens` and `closes` are the windows each note begins and ends in. Within its window a suspension may be struck
    again, and may leap to another note before it resolves.
    """
    before, after = motion.before, motion.after
    prepared = motion.again & accented
    down = (motion.out == -1) | (motion.out == -2)
    stays = (after >= 0) & (opens[after] == closes)
    then = np.where(stays, after[after], -1)
    turned = stays & (then >= 0) & (opens[then] == closes) & among(key[then] - key, (-1, -2))
    resolved = down | turned
    for _ in range(MOST_REPEATS):
        prepared |= motion.again & prepared[before] & (closes[before] == opens)
        resolved |= stays & (motion.out == 0) & resolved[after]
    return prepared, resolved


def _changing(motion: Motion, key: IntArray, opens: IntArray, closes: IntArray) -> Flags:
    """(n_notes,) one of two neighbours, the upper and the lower, between a note and its return in one window."""
    before, after = motion.before, motion.after
    around = (before >= 0) & (after >= 0) & (after[after] >= 0)
    stays = (closes[before] == opens) & (opens[after] == closes)
    steps = _is_step(key - key[before]) & _is_step(key[after] - key[before])
    turns = (np.sign(motion.into) == -np.sign(motion.out)) & (key[after[after]] == key[before])
    first: Flags = around & stays & steps & turns
    second = np.zeros_like(first)
    second[after[first]] = True
    result: Flags = first | second
    return result


def _is_step(motion: IntArray) -> Flags:
    size = np.abs(motion)
    result: Flags = (motion != NONE) & (size >= 1) & (size <= 2)
    return result


def _belongs(key: IntArray, window: IntArray, windows: NDArray[np.void]) -> Flags:
    above = (key - windows["root_pc"][window]) % 12
    result: Flags = ((windows["members"][window].astype(np.int64) >> above) & 1).astype(bool)
    return result

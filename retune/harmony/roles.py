"""What each non-chord tone does: from how it is reached and left in its part, and where it stands.

Definitions are those of ordinary harmony textbooks (common practice, no source).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.harmony.model import Role
from retune.harmony.motion import NONE
from retune.harmony.steps import Steps
from retune.score.model import IntArray

PEDAL_WINDOWS = 3  # a note that sounds through at least this many windows can be a pedal


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
    weak = (steps.strength[steps.first] > 2)[note]
    opening = np.concatenate([[True], note[1:] != note[:-1]])
    held = ~opening
    before = np.concatenate([[False], belongs[:-1]]) & held
    prepared = before | (opening & (into == 0) & ~weak)
    spans = np.bincount(note, minlength=len(notes))[note]
    later = _belongs(notes["key"][note], np.minimum(window + 1, len(windows) - 1), windows)
    last = np.concatenate([note[1:] != note[:-1], [True]])

    role = np.full(len(note), int(Role.OTHER), dtype=np.int8)
    rules = [
        (opening & step_out & ~step_in & ~weak, Role.APPOGGIATURA),
        (opening & step_in & step_out & (np.sign(into) == -np.sign(out)), Role.NEIGHBOUR),
        (opening & step_in & step_out & (np.sign(into) == np.sign(out)), Role.PASSING),
        (opening & weak & (out == 0) & later, Role.ANTICIPATION),
        (opening & ~last & later & ~step_out, Role.ANTICIPATION),
        (spans >= PEDAL_WINDOWS, Role.PEDAL),
        (opening & (into == 0) & (out == 0), Role.PEDAL),
        (prepared & step_out & (last | (out < 0)), Role.SUSPENSION),
        (belongs, Role.CHORD),
    ]
    for where, name in rules:  # a later rule overrules an earlier one
        role[where] = int(name)
    return role


def _is_step(motion: IntArray) -> NDArray[np.bool_]:
    size = np.abs(motion)
    result: NDArray[np.bool_] = (motion != NONE) & (size >= 1) & (size <= 2)
    return result


def _belongs(key: IntArray, window: IntArray, windows: NDArray[np.void]) -> NDArray[np.bool_]:
    above = (key - windows["root_pc"][window]) % 12
    result: NDArray[np.bool_] = ((windows["members"][window].astype(np.int64) >> above) & 1).astype(bool)
    return result

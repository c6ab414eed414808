"""What each non-chord tone does: from how it is reached and left in its part, and where it stands.

Definitions are those of ordinary harmony textbooks (common practice, no source).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from retune.arrays import among, begins, ends
from retune.harmony.evidence.motion import Motion, is_step
from retune.harmony.evidence.steps import Steps
from retune.harmony.model import Role
from retune.score.model import IntArray

Flags = NDArray[np.bool_]

PEDAL_WINDOWS = 3  # a note that sounds through at least this many windows can be a pedal
BEAT = 2  # metrical strength of a beat, see `Grid.strength`
MOST_REPEATS = 4  # of a suspension that is struck again before it resolves


def find_roles(steps: Steps, note: IntArray, window: IntArray, windows: NDArray[np.void]) -> NDArray[np.int8]:
    """(n_pieces,) Role of each piece, of the pitched note `note` in `window`."""
    motion, key = steps.motion, steps.key
    opening, last = begins(note), ends(note)
    opens, closes = window[opening], window[last]
    step_in, step_out = is_step(motion.into), is_step(motion.out)
    strength = steps.strength[steps.first]
    ahead = np.where(motion.after >= 0, strength[motion.after], BEAT)  # strength of the place it goes on to
    weaker, accented = strength > ahead, (strength <= BEAT) | (strength < ahead)
    later = _belongs(key, np.minimum(opens + 1, len(windows) - 1), windows)
    onward = motion.into * motion.out > 0
    at_first = _by_rules(
        np.full(len(key), Role.OTHER, dtype=np.int8),
        (step_out & ~step_in & accented, Role.APPOGGIATURA),
        (step_in & step_out & ~onward, Role.NEIGHBOUR),
        (_changing(motion, key, opens, closes), Role.NEIGHBOUR),
        (step_in & step_out & onward, Role.PASSING),
        (weaker & (motion.out == 0) & later, Role.ANTICIPATION),
        ((opens != closes) & later & ~step_out, Role.ANTICIPATION),
        ((motion.into == 0) & (motion.out == 0) & ~(weaker & later), Role.PEDAL),
    )
    struck_again, resolved = _suspended(motion, key, opens, closes, accented)
    belongs = _belongs(key[note], window, windows)
    prepared = np.where(opening, struck_again[note], np.concatenate([[False], belongs[:-1]]))
    return _by_rules(
        np.where(opening, at_first[note], np.int8(Role.OTHER)),
        ((closes - opens + 1 >= PEDAL_WINDOWS)[note], Role.PEDAL),
        (prepared & ((step_out[note] & last) | resolved[note]), Role.SUSPENSION),
        (belongs, Role.CHORD),
    )


def _by_rules(role: NDArray[np.int8], *rules: tuple[Flags, Role]) -> NDArray[np.int8]:
    """(n,) the roles as they were, but for what rules say; a later rule overrules an earlier one."""
    for where, name in rules:
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
    repeats, repeated = motion.again & (closes[before] == opens), stays & (motion.out == 0)
    for _ in range(MOST_REPEATS):
        prepared |= repeats & prepared[before]
        resolved |= repeated & resolved[after]
    return prepared, resolved


def _changing(motion: Motion, key: IntArray, opens: IntArray, closes: IntArray) -> Flags:
    """(n_notes,) one of two neighbours, the upper and the lower, between a note and its return in one window."""
    before, after = motion.before, motion.after
    around = (before >= 0) & (after >= 0) & (after[after] >= 0)
    stays = (closes[before] == opens) & (opens[after] == closes)
    steps = is_step(motion.into) & is_step(key[after] - key[before])
    turns = (motion.into * motion.out < 0) & (key[after[after]] == key[before])
    first: Flags = around & stays & steps & turns
    second = np.zeros_like(first)
    second[after[first]] = True
    result: Flags = first | second
    return result


def _belongs(key: IntArray, window: IntArray, windows: NDArray[np.void]) -> Flags:
    above = (key - windows["root_pc"][window]) % 12
    result: Flags = ((windows["members"][window].astype(np.int64) >> above) & 1).astype(bool)
    return result

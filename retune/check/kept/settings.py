"""What is in force for each note while its key is down, before and after."""

from __future__ import annotations

import numpy as np

from retune.check.comparison import Comparison, counted, note_at
from retune.check.matching import unequal
from retune.check.receiver.in_force import (
    PARAMETERS,
    PRESSURE_OF_CHANNEL,
    PRESSURE_OF_NOTE,
    PROGRAM_AND_BANK,
)
from retune.check.receiver.sounding import BoolArray, Table


def changed_settings(both: Comparison, problems: list[str]) -> int:
    """What holds for notes while their keys are down, beside what is told already, and differs.

    The pressure of MPE input is that of members and managers together, which a receiver may join as it likes: it is
    not compared note by note.
    """
    before, after = both.original.in_force, both.decoded.in_force
    if not len(before) and not len(after):
        return 0
    after = after[both.place[after["note"]] >= 0]
    after["note"] = both.place[after["note"]]
    mine, _ = both.pairs
    matched = np.zeros(len(both.score.notes), dtype=bool)
    matched[mine] = True
    before = before[matched[before["note"]]]
    known_until = both.original.notes["known_until_tick"]
    before, after = (rows[rows["tick"] < known_until[rows["note"]]] for rows in (before, after))
    before, after = (rows[~_is_zone_pressure(both, rows)] for rows in (before, after))
    gone, more = unequal(
        *([rows[name] for name in ("note", "code", "tick", "value")] for rows in (before, after))
    )
    wrong = np.concatenate([before[gone], after[more]])
    if len(wrong):
        row = wrong[np.argmin(wrong["tick"])]
        what = f"{_code_name(int(row['code']))} for {note_at(both.score, int(row['note']))}"
        problems.append(f"{counted(len(wrong), 'setting is not in force for its notes')}; first {what}")
    return len(wrong)


def _is_zone_pressure(both: Comparison, rows: Table) -> BoolArray:
    """Pressure of MPE input, and of notes that share a member channel, which has one pressure for all."""
    mine, theirs = both.pairs
    is_pressure: BoolArray = (rows["code"] == PRESSURE_OF_CHANNEL) | (rows["code"] == PRESSURE_OF_NOTE)
    if not is_pressure.any():
        return is_pressure
    unfit = both.original.notes["member"].copy()
    unfit[mine] |= _shares_member(both.decoded.notes)[theirs]
    result: BoolArray = is_pressure & unfit[rows["note"]]
    return result


def _shares_member(notes: Table) -> BoolArray:
    """(n_notes,) True for notes of zones that sound on one channel with others."""
    lanes = notes["port"].astype(np.int64) << 4 | notes["channel"]
    shared = np.zeros(len(notes), dtype=bool)
    order = np.lexsort((notes["onset_tick"], lanes))
    span = int(notes["release_tick"].max(initial=0)) + 1
    ends = np.maximum.accumulate(lanes[order] * span + notes["release_tick"][order])
    overlaps = lanes[order][1:] * span + notes["onset_tick"][order][1:] < ends[:-1]
    shared[order[1:][overlaps]] = True
    shared[order[:-1][overlaps]] = True
    result: BoolArray = shared & notes["member"]
    return result


def _code_name(code: int) -> str:
    if code >= PARAMETERS:
        return f"parameter {code - PARAMETERS}"
    return {
        PRESSURE_OF_CHANNEL: "channel pressure",
        PRESSURE_OF_NOTE: "key pressure",
        PROGRAM_AND_BANK: "bank",
    }.get(code, f"controller {code}")

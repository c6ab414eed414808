"""What a retuned file kept of the original, apart from pitch."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np

from retune.check.comparison import Comparison, counted, key_name, note_at
from retune.check.kept.events import CLIP_FORMAT, changed_events, lost_names
from retune.check.kept.settings import changed_settings
from retune.check.receiver.sounding import IntArray

_DIFFERENCES = {
    "releases_moved": {"release_tick": "release is at another tick"},
    "velocities_changed": {"velocity": "note has another velocity"},
    "release_velocities_changed": {"release_velocity": "release has another velocity"},
    "programs_changed": {"program": "note has another program"},
    "controllers_changed": {
        "volume": "note has another volume",
        "pan": "note has another pan",
        "expression": "note has another expression",
        "sustain": "note has another sustain pedal",
    },
}
"""Counts of `Fidelity`: columns of notes that are compared, and what to say of each."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fidelity:
    """Counts of what changed. All but the first two are 0 in a faithful file."""

    notes: int  # of the original
    events: int  # of the original: all but notes and what only carries tuning
    notes_lost: int = 0
    notes_added: int = 0
    releases_moved: int = 0
    velocities_changed: int = 0
    release_velocities_changed: int = 0
    programs_changed: int = 0
    controllers_changed: int = 0  # volume, pan, expression or sustain in force at a note-on
    settings_changed: int = (
        0  # all else in force while a key is down: controllers, banks, pressure, parameters
    )
    ranges_unsaid: int = 0  # notes bent by a range that only receivers of MPE zones know
    releases_lost: int = 0  # notes that no note-off ends
    percussion_changed: int = 0  # drums that became pitched notes, and the reverse
    tracks_changed: int = 0
    events_lost: int = 0
    events_added: int = 0  # neither tuning nor copies that bring a further channel up to date
    names_lost: int = 0
    ticks_lost: int = 0  # how much earlier the file ends

    def as_dict(self) -> dict[str, int]:
        """Counts by name."""
        return asdict(self)


def compare(both: Comparison) -> tuple[Fidelity, list[str]]:
    """Counts, and one line for each kind of change: how many, and the first place."""
    problems: list[str] = []
    counts = {"notes_lost": _lost(both, problems), "notes_added": _added(both, problems)}
    for name, columns in _DIFFERENCES.items():
        counts[name] = sum(_differ(both, problems, column, what) for column, what in columns.items())
    counts["ranges_unsaid"] = _zone_ranges(both, problems)
    counts["releases_lost"] = _unreleased(both, problems)
    what = "note is a drum or no longer one"
    counts["percussion_changed"] = _differ(both, problems, "percussion", what)
    has_tracks = both.decoded.format != CLIP_FORMAT
    counts["tracks_changed"] = _other_tracks(both, problems) if has_tracks else 0
    counts["events_lost"], counts["events_added"] = changed_events(both, problems)
    told = ("controllers_changed", "programs_changed", "events_lost", "events_added")
    counts["settings_changed"] = 0 if any(counts[name] for name in told) else changed_settings(both, problems)
    counts["names_lost"] = lost_names(both, problems)
    counts["ticks_lost"] = max(0, both.score.end_tick - both.decoded.end_tick)
    if counts["ticks_lost"]:
        problems.append(f"the file ends {counts['ticks_lost']} ticks early")
    events = len(both.original.events) + len(both.original.stored.ticks)
    return Fidelity(notes=len(both.score.notes), events=events, **counts), problems


def _lost(both: Comparison, problems: list[str]) -> int:
    """Notes of the original that nothing plays."""
    is_lost = np.ones(len(both.score.notes), dtype=bool)
    is_lost[both.pairs[0]] = False
    return _tell(both, problems, np.flatnonzero(is_lost), "note is missing")


def _added(both: Comparison, problems: list[str]) -> int:
    """Notes that are not in the original."""
    added = np.flatnonzero(both.place < 0)
    if len(added):
        row = both.decoded.notes[added[0]]
        where = f"{key_name(int(row['key']))} at {both.score.where(int(row['onset_tick']))}"
        problems.append(f"{counted(len(added), 'note is not in the original')}; first {where}")
    return len(added)


def _differ(both: Comparison, problems: list[str], column: str, what: str) -> int:
    """Notes that have another value in a column."""
    before, after = both.before[column], both.after[column]
    changed = (before != after).nonzero()[0]
    values = f": {before[changed[0]]} became {after[changed[0]]}" if len(changed) else ""
    return _tell(both, problems, both.pairs[0][changed], what, values)


def _tell(both: Comparison, problems: list[str], notes: IntArray, what: str, values: str = "") -> int:
    """Count notes of the original with something amiss, and say where the first one is."""
    if len(notes):
        place = note_at(both.score, int(notes[0]))
        problems.append(f"{counted(len(notes), what)}; first {place}{values}")
    return len(notes)


def _zone_ranges(both: Comparison, problems: list[str]) -> int:
    """Notes whose bend range a receiver that knows no zones has not been told."""
    unsaid = both.pairs[0][both.after["zone_range"]]
    return _tell(both, problems, unsaid, "note is bent by a range that only a receiver of MPE zones knows")


def _unreleased(both: Comparison, problems: list[str]) -> int:
    """Notes that no note-off ends; all notes off is no substitute (MIDI 1.0 p. 20)."""
    lost = both.pairs[0][both.after["unreleased"] & ~both.before["unreleased"]]
    return _tell(both, problems, lost, "note is never released")


def _other_tracks(both: Comparison, problems: list[str]) -> int:
    """Notes in another track; where tracks were added, one of the same name is as good."""
    before, after = both.before["track"], both.after["track"]
    names = both.original.track_names
    if len(both.decoded.track_names) > len(names):
        first = np.array([*map(names.index, names), *range(len(names), len(both.decoded.track_names))])
        before, after = first[before], first[after]
    return _tell(both, problems, both.pairs[0][before != after], "note is in another track")

"""What a retuned file kept of the original, apart from pitch."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np

from retune.check.comparison import Comparison, counted, key_name, note_at
from retune.check.kept_events import CLIP_FORMAT, changed_events, lost_names
from retune.check.kept_settings import changed_settings
from retune.check.sounding import IntArray

_SETTINGS = {"volume": "volume", "pan": "pan", "expression": "expression", "sustain": "sustain pedal"}


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
    score, original, decoded = both.score, both.original.notes, both.decoded.notes
    mine, theirs = both.pairs
    has_tracks = both.decoded.format != CLIP_FORMAT
    is_lost = np.ones(len(score.notes), dtype=bool)
    is_lost[mine] = False
    lost = np.flatnonzero(is_lost)
    added = np.flatnonzero(both.place < 0)
    problems: list[str] = []

    def differ(column: str, before: IntArray, what: str) -> int:
        changed = np.flatnonzero(before != decoded[column][theirs])
        if len(changed):
            note = mine[changed[0]]
            values = f"{before[changed[0]]} became {decoded[column][theirs[changed[0]]]}"
            problems.append(f"{counted(len(changed), what)}; first {note_at(score, int(note))}: {values}")
        return len(changed)

    if len(lost):
        problems.append(f"{counted(len(lost), 'note is missing')}; first {note_at(score, int(lost[0]))}")
    if len(added):
        row = decoded[added[0]]
        where = f"{key_name(int(row['key']))} at {score.where(int(row['onset_tick']))}"
        problems.append(f"{counted(len(added), 'note is not in the original')}; first {where}")
    releases = differ("release_tick", score.notes["release_tick"][mine], "release is at another tick")
    velocities = differ("velocity", original["velocity"][mine], "note has another velocity")
    softness = differ("release_velocity", original["release_velocity"][mine], "release has another velocity")
    programs = differ("program", original["program"][mine], "note has another program")
    settings = sum(
        differ(name, original[name][mine], f"note has another {what}") for name, what in _SETTINGS.items()
    )
    unsaid = _zone_ranges(both, problems)
    unreleased = _unreleased(both, problems)
    drums = differ("percussion", original["percussion"][mine], "note is a drum or no longer one")
    tracks = _other_tracks(both, problems) if has_tracks else 0
    events_lost, events_added = changed_events(both, problems)
    told = settings + programs + events_lost + events_added
    others = 0 if told else changed_settings(both, problems)
    names_lost = lost_names(both, problems)
    ticks_lost = max(0, score.end_tick - both.decoded.end_tick)
    if ticks_lost:
        problems.append(f"the file ends {ticks_lost} ticks early")
    return Fidelity(
        notes=len(score.notes),
        events=len(both.original.events) + len(both.original.stored),
        notes_lost=len(lost),
        notes_added=len(added),
        releases_moved=releases,
        velocities_changed=velocities,
        release_velocities_changed=softness,
        programs_changed=programs,
        controllers_changed=settings,
        settings_changed=others,
        ranges_unsaid=unsaid,
        releases_lost=unreleased,
        percussion_changed=drums,
        tracks_changed=tracks,
        events_lost=events_lost,
        events_added=events_added,
        names_lost=names_lost,
        ticks_lost=ticks_lost,
    ), problems


def _zone_ranges(both: Comparison, problems: list[str]) -> int:
    """Notes whose bend range a receiver that knows no zones has not been told."""
    _, theirs = both.pairs
    found = np.flatnonzero(both.decoded.notes["zone_range"][theirs])
    if len(found):
        place = note_at(both.score, int(both.pairs[0][found[0]]))
        text = counted(len(found), "note is bent by a range that only a receiver of MPE zones knows")
        problems.append(f"{text}; first {place}")
    return len(found)


def _unreleased(both: Comparison, problems: list[str]) -> int:
    """Notes that no note-off ends; all notes off is no substitute (MIDI 1.0 p. 20)."""
    mine, theirs = both.pairs
    lost = both.decoded.notes["unreleased"][theirs] & ~both.original.notes["unreleased"][mine]
    found = np.flatnonzero(lost)
    if len(found):
        place = note_at(both.score, int(mine[found[0]]))
        problems.append(f"{counted(len(found), 'note is never released')}; first {place}")
    return len(found)


def _other_tracks(both: Comparison, problems: list[str]) -> int:
    """Notes in another track; where tracks were added, one of the same name is as good."""
    mine, theirs = both.pairs
    before, after = both.original.notes["track"][mine], both.decoded.notes["track"][theirs]
    names = both.original.track_names
    if len(both.decoded.track_names) > len(names):
        first = np.array([*map(names.index, names), *range(len(names), len(both.decoded.track_names))])
        before, after = first[before], first[after]
    moved = np.flatnonzero(before != after)
    if len(moved):
        place = note_at(both.score, int(mine[moved[0]]))
        problems.append(f"{counted(len(moved), 'note is in another track')}; first {place}")
    return len(moved)

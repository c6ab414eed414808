"""What a retuned file kept of the original, apart from pitch."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict, dataclass
from typing import NamedTuple

import numpy as np

from retune.check.added import added_events, added_stored
from retune.check.in_force import (
    PARAMETERS,
    PRESSURE_OF_CHANNEL,
    PRESSURE_OF_NOTE,
    PROGRAM_AND_BANK,
)
from retune.check.matching import unequal
from retune.check.pieces import whole_messages
from retune.check.sounding import (
    CHANNEL_PRESSURE,
    CONTROL,
    KEY_PRESSURE,
    PARAMETER,
    PROGRAM,
    SYSTEM,
    BoolArray,
    IntArray,
    Sounding,
    Stored,
    Table,
)
from retune.constants import DEFAULT_METER, DEFAULT_TEMPO_US
from retune.harmony.spelling import LETTERS, spell
from retune.score.model import Score
from retune.score.text import readable

CLIP_FORMAT = 2  # of `Sounding.format`
_KINDS = {
    CONTROL: "control change",
    PROGRAM: "program change",
    CHANNEL_PRESSURE: "channel pressure",
    KEY_PRESSURE: "key pressure",
    PARAMETER: "parameter",
}
_SETTINGS = {"volume": "volume", "pan": "pan", "expression": "expression", "sustain": "sustain pedal"}
_TEXTS = frozenset(
    ("text", "copyright", "instrument_name", "lyrics", "marker", "cue_marker", "program_name", "device_name")
)


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


class Comparison(NamedTuple):
    """An original and a decoded file, note by note."""

    score: Score
    original: Sounding  # the score as a receiver sounds it, notes in the order of `score.notes`
    decoded: Sounding  # in the ticks of the score
    place: IntArray  # (n_decoded,) number of the original note, -1 for one too many

    @property
    def pairs(self) -> tuple[IntArray, IntArray]:
        """(original notes, decoded notes) that belong together."""
        decoded = np.flatnonzero(self.place >= 0)
        return self.place[decoded], decoded


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
            problems.append(f"{_count(len(changed), what)}; first {note_at(score, int(note))}: {values}")
        return len(changed)

    if len(lost):
        problems.append(f"{_count(len(lost), 'note is missing')}; first {note_at(score, int(lost[0]))}")
    if len(added):
        row = decoded[added[0]]
        where = f"{key_name(int(row['key']))} at {score.where(int(row['onset_tick']))}"
        problems.append(f"{_count(len(added), 'note is not in the original')}; first {where}")
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
    events_lost, events_added = _changed_events(both, problems)
    told = settings + programs + events_lost + events_added
    others = 0 if told else _other_settings(both, problems)
    names_lost = _lost_names(both, problems)
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


def _other_settings(both: Comparison, problems: list[str]) -> int:
    """What holds for notes while their keys are down, beside what is told already, and differs.

    The pressure of MPE input is that of members and managers together, which a receiver may join as it likes: it is
    not compared note by note.
    """
    before, after = both.original.in_force, both.decoded.in_force
    after = after[both.place[after["note"]] >= 0]
    after["note"] = both.place[after["note"]]
    mine, _ = both.pairs
    matched = np.zeros(len(both.score.notes), dtype=bool)
    matched[mine] = True
    before = before[matched[before["note"]]]
    before, after = (rows[~_is_zone_pressure(both, rows)] for rows in (before, after))
    gone, more = unequal(
        *([rows[name] for name in ("note", "code", "tick", "value")] for rows in (before, after))
    )
    wrong = np.concatenate([before[gone], after[more]])
    if len(wrong):
        row = wrong[np.argmin(wrong["tick"])]
        what = f"{_code_name(int(row['code']))} for {note_at(both.score, int(row['note']))}"
        problems.append(f"{_count(len(wrong), 'setting is not in force for its notes')}; first {what}")
    return len(wrong)


def _is_zone_pressure(both: Comparison, rows: Table) -> BoolArray:
    """Pressure of MPE input, and of notes that share a member channel, which has one pressure for all."""
    mine, theirs = both.pairs
    unfit = both.original.notes["member"].copy()
    unfit[mine] |= _shares_member(both.decoded.notes)[theirs]
    is_pressure = (rows["code"] == PRESSURE_OF_CHANNEL) | (rows["code"] == PRESSURE_OF_NOTE)
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


def _zone_ranges(both: Comparison, problems: list[str]) -> int:
    """Notes whose bend range a receiver that knows no zones has not been told."""
    _, theirs = both.pairs
    found = np.flatnonzero(both.decoded.notes["zone_range"][theirs])
    if len(found):
        place = note_at(both.score, int(both.pairs[0][found[0]]))
        text = _count(len(found), "note is bent by a range that only a receiver of MPE zones knows")
        problems.append(f"{text}; first {place}")
    return len(found)


def _unreleased(both: Comparison, problems: list[str]) -> int:
    """Notes that no note-off ends; all notes off is no substitute (MIDI 1.0 p. 20)."""
    mine, theirs = both.pairs
    lost = both.decoded.notes["unreleased"][theirs] & ~both.original.notes["unreleased"][mine]
    found = np.flatnonzero(lost)
    if len(found):
        place = note_at(both.score, int(mine[found[0]]))
        problems.append(f"{_count(len(found), 'note is never released')}; first {place}")
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
        problems.append(f"{_count(len(moved), 'note is in another track')}; first {place}")
    return len(moved)


def _changed_events(both: Comparison, problems: list[str]) -> tuple[int, int]:
    """How many events are lost and added.

    Lost are channel events that no channel has at their tick, and meta and sysex events that are gone.
    """
    score, before, after = both.score, both.original, both.decoded
    as_clip = after.format == CLIP_FORMAT
    n_tracks = len(before.track_names) if len(after.track_names) > len(before.track_names) else None
    gone, more = _changed_channel_events(before.events, after.events, as_clip, n_tracks)
    for rows, verb in ((gone, "is missing"), (more, "is not in the original")):
        if len(rows):
            what = f"{_KINDS[int(rows[0]['kind'])]} {_event_name(rows[0])}"
            place = score.where(int(rows[0]["tick"]))
            problems.append(
                f"{_count(len(rows), f'controller or program event {verb}')}; first {what} at {place}"
            )
    stored, found = (Counter(_in_clip(s.stored) if as_clip else s.stored) for s in (before, after))
    implied = _implied_in_clip(score, before.track_names) if as_clip else frozenset()
    lost, added = list((stored - found).elements()), added_stored(stored, found, implied)
    for events, verb in ((lost, "is missing"), (added, "is not in the original")):
        if events:
            tick, _, content = min(events, key=lambda row: row[0])
            what = f"{str(content[0]).replace('_', ' ')} at {score.where(tick)}"
            problems.append(f"{_count(len(events), f'meta or sysex event {verb}')}; first {what}")
    return len(gone) + len(lost), len(more) + len(added)


def _changed_channel_events(
    before: Table, after: Table, as_clip: bool, n_tracks: int | None
) -> tuple[Table, Table]:
    """Events that no channel of their track has at their tick, and those that were added.

    A part spread over channels has its events on several of them, and keys of key pressure stay; a MIDI 2.0
    clip has no tracks, and carries banks in its program changes.
    """
    plain = ("tick", "kind", "number", "value")
    names = plain if as_clip else ("track", *plain)
    gone, more = unequal([before[name] for name in names], [after[name] for name in names])
    if not as_clip and n_tracks is not None:  # nameless tracks for further ports: of whichever track they are
        added = after[after["track"] >= n_tracks]
        gone &= unequal([before[name] for name in plain], [added[name] for name in plain])[0]
    if as_clip:
        gone &= ~((before["kind"] == CONTROL) & np.isin(before["number"], (0, 32)))
    return before[gone], added_events(before, after[more])


def _implied_in_clip(score: Score, track_names: tuple[str, ...]) -> frozenset[Stored]:
    """What a clip may say that the original implies: names of tracks, 4/4 and 120 to the minute (SMF 1.0).

    Of a time code the tempo is what keeps its ticks in time with a whole number of them a quarter.
    """
    clock, quarter_us = score.clock, float(DEFAULT_TEMPO_US)
    if clock.smpte:
        quarter_us = float(clock.seconds_per_tick[0]) * max(round(clock.ticks_per_quarter), 1) * 1e6
    names = (("text", readable(name)) for name in track_names)
    meter, tempo = ("time_signature", *DEFAULT_METER), ("set_tempo", ("tempo", round(quarter_us)))
    return frozenset((0, 0, content) for content in (*names, meter, tempo))


def _in_clip(stored: tuple[Stored, ...]) -> list[Stored]:
    """Stored events of either kind of file in the form that survives in a MIDI 2.0 clip.

    What has no place there is left out; texts are compared as people read them.
    """
    kept: list[Stored] = []
    for tick, _, content in whole_messages(stored):
        kind = str(content[0])
        values = {pair[0]: pair[1] for pair in content[1:] if isinstance(pair, tuple) and len(pair) == 2}
        if kind == "time_signature" and values:
            kept.append((tick, 0, (kind, values["numerator"], values["denominator"])))
        elif kind == "key_signature" and values:
            kept.append((tick, 0, (kind, _fifths(str(values["key"])))))
        elif kind in _TEXTS and values:
            kept.append((tick, 0, ("text", readable(str(values.get("text", values.get("name")))))))
        elif kind == "text":
            kept.append((tick, 0, ("text", readable(str(content[1]).encode().decode("latin-1")))))
        elif kind in ("set_tempo", "sysex", SYSTEM, "time_signature", "key_signature"):
            kept.append((tick, 0, content))
    return kept


def _fifths(key: str) -> int:
    """Sharps (positive) or flats of a key such as "F#m" or "Bb"."""
    tonic = LETTERS.index(key[0]) - 1 + 7 * (key.count("#") - key.count("b"))
    return tonic - (3 if key.endswith("m") else 0)


def _lost_names(both: Comparison, problems: list[str]) -> int:
    """Tracks whose name is not that of the same track of the original; in a clip, that no text of it says."""
    before, after = both.original.track_names, both.decoded.track_names
    lost = [k for k, name in enumerate(before) if k >= len(after) or after[k] != name]
    if both.decoded.format == CLIP_FORMAT:
        texts = {content for _, _, content in _in_clip(both.decoded.stored)}
        lost = [k for k, name in enumerate(before) if name and ("text", readable(name)) not in texts]
    if lost:
        problems.append(f"{_count(len(lost), 'track has another name')}; first track {lost[0] + 1}")
    return len(lost)


def note_at(score: Score, note: int) -> str:
    """A note as a person finds it: "C4 in Alto at bar 2, beat 1"."""
    row = score.notes[note]
    part = score.parts[int(row["part"])].name
    return f"{key_name(int(row['key']))} in {part} at {score.where(int(row['onset_tick']))}"


def key_name(key: int) -> str:
    """Scientific pitch name of a key: 60 is C4."""
    return f"{spell(key % 12, 0)}{key // 12 - 1}"


def _event_name(row: np.void) -> str:
    number, value = int(row["number"]), int(row["value"])
    return f"{number} = {value}" if int(row["kind"]) != PROGRAM else str(value)


def _count(number: int, what: str) -> str:
    """A count and what it counts, in the right number: 1 note is missing, 3 notes are missing."""
    if number == 1:
        return f"1 {what}"
    noun, verb, rest = _split(what)
    return f"{number} {noun}s {verb} {rest}"


def _split(what: str) -> tuple[str, str, str]:
    for verb, plural in (("is", "are"), ("has", "have")):
        noun, found, rest = what.partition(f" {verb} ")
        if found:
            return noun, plural, rest
    raise ValueError(what)

"""Events that are no notes, before and after: controllers, programs, texts, meters, names of tracks."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from retune.check.comparison import Comparison, counted
from retune.check.kept.added import added_events, unaccounted
from retune.check.matching import same_rows, unequal
from retune.check.receiver.pieces import whole_messages
from retune.check.receiver.sounding import (
    CHANNEL_PRESSURE,
    CONTROL,
    KEY_PRESSURE,
    PARAMETER,
    PROGRAM,
    Table,
)
from retune.check.receiver.stored import (
    PACKET,
    SYSEX,
    SYSTEM,
    Collector,
    Content,
    Row,
    Stored,
    countable,
    with_same_contents,
)
from retune.constants import DEFAULT_METER, DEFAULT_TEMPO_US
from retune.harmony.spelling import LETTERS
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
_TEXTS = frozenset(
    (
        "text",
        "copyright",
        "instrument_name",
        "lyrics",
        "marker",
        "cue_marker",
        "program_name",
        "device_name",
    )
)


def changed_events(both: Comparison, problems: list[str]) -> tuple[int, int]:
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
                f"{counted(len(rows), f'controller or program event {verb}')}; first {what} at {place}"
            )
    implied = _implied_in_clip(score, before.track_names) if as_clip else frozenset()
    stored, found = (_in_clip(s.stored) if as_clip else s.stored for s in (before, after))
    lost, added = _changed_stored(stored, found, implied)
    for events, verb in ((lost, "is missing"), (added, "is not in the original")):
        if len(events.ticks):
            tick, _, content = min(events.rows(), key=lambda row: row[0])
            what = f"{str(content[0]).replace('_', ' ')} at {score.where(tick)}"
            problems.append(f"{counted(len(events.ticks), f'meta or sysex event {verb}')}; first {what}")
    return len(gone) + len(lost.ticks), len(more) + len(added.ticks)


def _changed_stored(before: Stored, after: Stored, implied: Collection[Row]) -> tuple[Stored, Stored]:
    """The meta and sysex events that are lost, and those that nothing accounts for."""
    before, after = with_same_contents((before, after))
    if same_rows(before[:3], after[:3]):
        nothing = before.taken(np.zeros(0, dtype=np.int64))
        return nothing, nothing
    lost, added = unequal(countable(before), countable(after))
    return before.taken(lost), unaccounted(after.taken(added), before, implied)


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
        known = ~unequal([after[name] for name in plain], [before[name] for name in plain])[0]
        more &= ~(known & (after["track"] >= n_tracks))
    if as_clip:
        gone &= ~((before["kind"] == CONTROL) & np.isin(before["number"], (0, 32)))
    return before[gone], added_events(before, after[more])


def _implied_in_clip(score: Score, track_names: tuple[str, ...]) -> frozenset[Row]:
    """What a clip may say that the original implies: names of tracks, 4/4 and 120 to the minute (SMF 1.0).

    Of a time code the tempo is what keeps its ticks in time with a whole number of them a quarter.
    """
    clock, quarter_us = score.clock, float(DEFAULT_TEMPO_US)
    if clock.smpte:
        quarter_us = float(clock.seconds_per_tick[0]) * max(round(clock.ticks_per_quarter), 1) * 1e6
    names = [(0, 0, ("text", readable(name))) for name in track_names]
    for track in score.tracks:
        further = zip(track.ticks.tolist(), track.messages, strict=True)
        names += [(tick, 0, ("text", readable(m.name))) for tick, m in further if m.type == "track_name"]
    meter, tempo = ("time_signature", *DEFAULT_METER), ("set_tempo", ("tempo", round(quarter_us)))
    return frozenset((*names, (0, 0, meter), (0, 0, tempo)))


def _in_clip(stored: Stored) -> Stored:
    """Stored events of either kind of file in the form that survives in a MIDI 2.0 clip.

    What has no place there is left out; texts are compared as people read them.
    """
    contents = [_content_in_clip(content) for content in stored.contents]
    in_pieces = np.array([content[0] == PACKET for content in stored.contents], bool)[stored.which]
    whole = Collector()
    whole.extend((tick, 0, content) for tick, _, content in whole_messages(stored.taken(in_pieces).rows()))
    kept = np.array([content is not None for content in contents], bool)[stored.which]
    found = stored._replace(tracks=np.zeros(len(kept), np.int64)).taken(kept)
    both = with_same_contents((found._replace(contents=tuple(c or ("",) for c in contents)), whole.stored()))
    ticks, tracks, which = (np.concatenate([stored[k] for stored in both]) for k in range(3))
    return Stored(ticks, tracks, which, both[0].contents)


def _content_in_clip(content: Content) -> Content | None:
    kind = str(content[0])
    values = {pair[0]: pair[1] for pair in content[1:] if isinstance(pair, tuple) and len(pair) == 2}
    if kind == "time_signature" and values:
        return kind, values["numerator"], values["denominator"]
    if kind == "key_signature" and values:
        return kind, _fifths(str(values["key"]))
    if kind in _TEXTS and values:
        return "text", readable(str(values.get("text", values.get("name"))))
    if kind == "text":
        return "text", readable(str(content[1]).encode().decode("latin-1"))
    return content if kind in ("set_tempo", SYSEX, SYSTEM, "time_signature", "key_signature") else None


def _fifths(key: str) -> int:
    """Sharps (positive) or flats of a key such as "F#m" or "Bb"."""
    tonic = LETTERS.index(key[0]) - 1 + 7 * (key.count("#") - key.count("b"))
    return tonic - (3 if key.endswith("m") else 0)


def lost_names(both: Comparison, problems: list[str]) -> int:
    """Tracks whose name is not that of the same track of the original; in a clip, that no text of it says."""
    before, after = both.original.track_names, both.decoded.track_names
    lost = [k for k, name in enumerate(before) if k >= len(after) or after[k] != name]
    if both.decoded.format == CLIP_FORMAT:
        texts = set(_in_clip(both.decoded.stored).contents)
        lost = [k for k, name in enumerate(before) if name and ("text", readable(name)) not in texts]
    if lost:
        problems.append(f"{counted(len(lost), 'track has another name')}; first track {lost[0] + 1}")
    return len(lost)


def _event_name(row: np.void) -> str:
    number, value = int(row["number"]), int(row["value"])
    return f"{number} = {value}" if int(row["kind"]) != PROGRAM else str(value)

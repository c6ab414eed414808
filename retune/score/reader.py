"""Bytes to the score."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence

import mido
import numpy as np

from retune.errors import InputError, Remark
from retune.score.clock import TempoEvent, build_clock
from retune.score.events import VLQ_MAX, times
from retune.score.meters import MeterEvent, build_meters
from retune.score.model import IntArray, Score, Track
from retune.score.notes import read_notes
from retune.score.parse import Parsed, parse
from retune.score.parts import SetupEvent, build_parts, is_setup, rhythm_channels
from retune.score.releases import Mend, NoteEvents, settle_releases
from retune.score.repair import MOST_NOTES_AT_ONCE, refuse_crowd, repair
from retune.score.resets import reset_of
from retune.score.text import readable

MOST_RESETS = 2000  # far above any music


def read_score(data: bytes, *, name: str = "input", pattern: int | None = None) -> Score:
    """Read a Standard MIDI File: notes as columns, clock, meters, parts, and all events in their place.

    Damage that a player would play through is mended and reported in `Score.remarks`.

    Parameters
    ----------
    data
        The file, also inside a RIFF wrapper.
    name
        How messages call the file.
    pattern
        Which pattern of a file of independent patterns (format 2) to take, from 1; None: the first with
        notes.

    Raises
    ------
    InputError
        If there is nothing that can be read as music, or more than can be handled.

    """
    repaired = repair(data, name=name)
    parsed = parse(repaired)
    remarks = repaired.remarks
    format_ = repaired.format
    if format_ == 2:
        chosen = _choose_pattern(parsed, pattern, name, remarks)
        parsed, format_ = Parsed(parsed.messages, [parsed.tracks[chosen]]), 0
    _check_length(parsed, name)
    _check_resets(parsed, name)
    settled = settle_releases(parsed)
    _check_crowd(settled, name)
    return _assemble(repaired.division, format_, settled, remarks)


def _choose_pattern(parsed: Parsed, pattern: int | None, name: str, remarks: list[Remark]) -> int:
    tracks = parsed.tracks
    if pattern is not None:
        if not 1 <= pattern <= len(tracks):
            raise InputError(
                f"{name}: pattern {pattern} is not there; the file holds patterns 1 to {len(tracks)}"
            )
        return pattern - 1
    is_note = np.array([message.type == "note_on" for message in parsed.messages])
    with_notes = (i for i, (_, which) in enumerate(tracks) if is_note[which].any())
    chosen = next(with_notes, 0)
    if len(tracks) > 1:
        remarks.append(
            Remark(
                code="pattern",
                message=f"the file holds {len(tracks)} independent patterns (format 2); "
                f"pattern {chosen + 1} was taken, the others were left out",
            )
        )
    return chosen


def _check_length(parsed: Parsed, name: str) -> None:
    for number, (ticks, _) in enumerate(parsed.tracks, start=1):
        if ticks[-1] > VLQ_MAX:
            raise InputError(
                f"{name}: track {number} is {ticks[-1]} ticks long, more than the {VLQ_MAX} that "
                "can be handled; one of its delta times is probably damaged"
            )


def _check_resets(parsed: Parsed, name: str) -> None:
    """Refuse more device resets than any playlist holds: each may cost a hundred messages to set all up again."""
    if sum(len(which) for _, which in parsed.tracks) <= MOST_RESETS:
        return
    resets = np.array([m.type == "sysex" and bool(reset_of(m.data)) for m in parsed.messages], dtype=bool)
    if sum(np.count_nonzero(resets[which]) for _, which in parsed.tracks) > MOST_RESETS:
        raise InputError(
            f"{name}: more than {MOST_RESETS} system exclusive messages reset the device (GM, GS or XG); "
            "this is hardly music"
        )


def _check_crowd(settled: NoteEvents, name: str) -> None:
    """Refuse more notes at once than can be handled; pedals do not count, which let notes die away."""
    if len(settled.pairing.on) <= MOST_NOTES_AT_ONCE:
        return
    tick = settled.columns.notes["tick"]
    onset, release = np.sort(tick[settled.pairing.on]), np.sort(tick[settled.pairing.off])
    held = np.arange(1, len(onset) + 1) - np.searchsorted(release, onset, side="left")
    if held.max(initial=0) > MOST_NOTES_AT_ONCE:
        refuse_crowd(name)


def _make_track(ticks: IntArray, which: IntArray, name: str, messages: Sequence[mido.Message]) -> Track:
    """Track without its end-of-track event."""
    return Track(
        name=readable(name),
        ticks=ticks[:-1],
        messages=list(map(messages.__getitem__, which[:-1].tolist())),
        end_tick=int(ticks[-1]),
    )


def _assemble(division: int, format_: int, settled: NoteEvents, remarks: list[Remark]) -> Score:
    messages = settled.parsed.messages
    settings = _Settings(settled)
    tracks = [
        _make_track(*track, settings.names.get(number, ""), messages)
        for number, track in enumerate(settled.parsed.tracks)
    ]
    end_tick = max(track.end_tick for track in tracks)
    table = read_notes(settled, end_tick)
    clock = build_clock(division, settings.tempos)
    names = [track.name for track in tracks]
    score = Score(
        format=format_,
        division=division,
        clock=clock,
        meters=build_meters(clock.ticks_per_quarter, settings.meters),
        tracks=tuple(tracks),
        parts=build_parts(table.notes, table.parts, names, settings.setup),
        notes=table.notes,
        end_tick=end_tick,
        title=names[0],
        rhythm_channels=rhythm_channels(settings.setup),
    )
    found = (*remarks, *settings.remarks(score), *_release_remarks(score, settled.mends))
    return dataclasses.replace(score, remarks=found) if found else score


class _Settings:
    """Events of all tracks that name, time or set up something."""

    def __init__(self, settled: NoteEvents) -> None:
        self.names: dict[int, str] = {}  # of tracks: the first of each
        self.tempos: list[TempoEvent] = []
        self.meters: list[MeterEvent] = []
        self.setup: list[SetupEvent] = []
        self.unusable: list[tuple[int, str]] = []  # tick and what it is
        columns, messages = settled.columns, settled.parsed.messages
        rows = np.array(columns.settings, dtype=np.int64)
        tracks = np.searchsorted(columns.first, rows, side="right") - 1
        places = tracks, rows - columns.first[tracks]
        values = (column[rows] for column in (columns.ticks, columns.ports, columns.which))
        rows_of_settings = zip(*(column.tolist() for column in (*places, *values)), strict=True)
        for track, event, tick, port, number in rows_of_settings:
            message = messages[number]
            if message.type == "track_name":
                self.names.setdefault(track, message.name)
            elif message.type == "set_tempo":
                self._add_tempo(tick, message)
            elif message.type == "time_signature":
                self._add_meter(tick, track, message)
            elif is_setup(message):
                self.setup.append(SetupEvent(tick, track, event, port, message))

    def _add_tempo(self, tick: int, message: mido.MetaMessage) -> None:
        if message.tempo > 0:
            self.tempos.append(TempoEvent(tick, message.tempo))
        else:
            self.unusable.append((tick, "a tempo of 0 microseconds"))

    def _add_meter(self, tick: int, track: int, message: mido.MetaMessage) -> None:
        if message.numerator > 0:
            self.meters.append(MeterEvent(tick, track, message.numerator, message.denominator))
        else:
            self.unusable.append((tick, "a time signature of 0 beats"))

    def remarks(self, score: Score) -> Iterator[Remark]:
        """One remark a kind of setting that cannot be used."""
        for what in dict.fromkeys(what for _, what in self.unusable):
            ticks = [tick for tick, kind in self.unusable if kind == what]
            yield Remark(
                code="odd-meta",
                message=f"{what} is passed on unchanged and not used{times(len(ticks))}",
                where=score.where(ticks[0]),
            )


def _release_remarks(score: Score, mends: Sequence[Mend]) -> Iterator[Remark]:
    """One remark a track and kind for the releases that were moved or put in."""
    for mend in mends:
        what = (
            "the release of a note of no length stood before the note; they were put in order"
            if mend.code == "release-first"
            else "a note is never released; a release was put in, where the key is released next or the track ends"
        )
        yield Remark(
            code=mend.code,
            message=f"track {mend.track + 1}: {what}{times(mend.count)}",
            where=score.where(mend.tick),
        )

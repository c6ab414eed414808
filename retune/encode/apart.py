"""One complete file for each part, with the tempo map and markers of the whole."""

from __future__ import annotations

import re
from collections.abc import Callable

import mido
import numpy as np
from numpy.typing import NDArray

from retune.encode.model import Encoded, EncodedFile
from retune.errors import Remark
from retune.options import Options
from retune.score.model import IntArray, Part, Score, Track
from retune.tuning.model import Tuning

FOR_ALL = frozenset(
    ("set_tempo", "time_signature", "key_signature", "smpte_offset", "marker", "cue_marker", "copyright")
)
"""Meta events that belong to the whole piece wherever they stand (SMF 3.1)."""

Encoder = Callable[[Score, Tuning, Options], Encoded]


def encode_apart(score: Score, tuning: Tuning, options: Options, encoder: Encoder) -> Encoded:
    """Encode every part for itself; the result holds as many files as the score has parts."""
    files: list[EncodedFile] = []
    worst, used = 0.0, 0
    remarks: list[Remark] = []
    for part in score.parts:
        encoded = encoder(*extract_part(score, tuning, part), options)
        suffix = f"-{part.index + 1:02d}-{_slug(part.name)}".rstrip("-")
        files += [
            EncodedFile(data=f.data, suffix=suffix + f.suffix, extension=f.extension) for f in encoded.files
        ]
        worst = max(worst, encoded.worst_error_cents)
        used = max(used, encoded.channels_used)
        remarks += encoded.remarks
    return Encoded(
        files=tuple(files), channels_used=used, worst_error_cents=worst, remarks=tuple(dict.fromkeys(remarks))
    )


def extract_part(score: Score, tuning: Tuning, part: Part) -> tuple[Score, Tuning]:
    """The score and tuning of one part alone.

    Kept are all events of the part's track that do not belong to another channel, the first track's meta
    events, meta events for the whole piece wherever they are, sysex, and controllers of the part's channel in
    other tracks.
    """
    mine = score.notes["part"] == part.index
    notes = score.notes[mine].copy()
    tracks: list[Track] = []
    number_of_track: dict[int, int] = {}
    new_index = np.zeros(0, np.int64)
    for number, track in enumerate(score.tracks):
        kept = _kept_events(score, number, part)
        if number not in (0, part.track) and not kept.any():
            continue
        number_of_track[number] = len(tracks)
        if number == part.track:
            new_index = np.cumsum(kept) - 1
        messages = [message for message, keep in zip(track.messages, kept.tolist(), strict=True) if keep]
        tracks.append(
            Track(name=track.name, ticks=track.ticks[kept], messages=messages, end_tick=track.end_tick)
        )
    closed = notes["off_event"] >= 0
    notes["on_event"] = new_index[notes["on_event"]]
    notes["off_event"][closed] = new_index[notes["off_event"][closed]]
    notes["track"], notes["part"] = number_of_track[part.track], 0
    alone = Part(
        index=0,
        name=part.name,
        track=number_of_track[part.track],
        port=part.port,
        channel=part.channel,
        program=part.program,
        is_percussion=part.is_percussion,
    )
    sub = Score(
        format=score.format,
        division=score.division,
        clock=score.clock,
        meters=score.meters,
        tracks=tuple(tracks),
        parts=(alone,),
        notes=notes,
        end_tick=score.end_tick,
        title=score.title,
    )
    return sub, _extract_tuning(tuning, mine)


def _kept_events(score: Score, number: int, part: Part) -> NDArray[np.bool_]:
    track = score.tracks[number]
    kept = np.zeros(len(track.messages), bool)
    own_track = number == part.track
    port = 0
    for index, message in enumerate(track.messages):
        if message.is_meta:
            port = message.port if message.type == "midi_port" else port
            kept[index] = own_track or number == 0 or message.type in FOR_ALL
        elif (channel := message.__dict__.get("channel")) is None:
            kept[index] = True
        elif (port, channel) == (part.port, part.channel):
            kept[index] = own_track or not _is_note(message)
    here = score.notes["track"] == number
    others = here & (score.notes["part"] != part.index)
    _drop(kept, score.notes["on_event"][others])
    _drop(kept, score.notes["off_event"][others])
    return kept


def _is_note(message: mido.Message) -> bool:
    return message.type in ("note_on", "note_off")


def _drop(kept: NDArray[np.bool_], events: IntArray) -> None:
    kept[events[events >= 0]] = False


def _extract_tuning(tuning: Tuning, mine: NDArray[np.bool_]) -> Tuning:
    rows = tuning.offsets[mine[tuning.offsets["note"]]].copy()
    rows["note"] = (np.cumsum(mine) - 1)[rows["note"]]
    return Tuning(offsets=rows, displacement_cents=tuning.displacement_cents)


def _slug(name: str) -> str:
    """A name that every file system takes."""
    return re.sub(r"[^\w]+", "-", name.lower()).strip("-")[:40]

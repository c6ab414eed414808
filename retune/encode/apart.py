"""One complete file for each part, with the tempo map and markers of the whole."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from retune.encode.model import Encoded, EncodedFile
from retune.errors import Remark
from retune.options import Options
from retune.score.model import Part, Score
from retune.tuning.model import Tuning

Encoder = Callable[[Score, Tuning, Options], Encoded]


def encode_apart(score: Score, tuning: Tuning, options: Options, encoder: Encoder) -> Encoded:
    """Encode every part for itself; the result holds as many files as the score has parts."""
    files: list[EncodedFile] = []
    digits = max(2, len(str(len(score.parts))))  # file lists show parts in their order
    worst, used = 0.0, 0
    remarks: list[Remark] = []
    spread: list[str] = []
    for part in score.parts:
        encoded = encoder(*extract_part(score, tuning, part), options)
        suffix = f"-{part.index + 1:0{digits}d}-{_slug(part.name)}".rstrip("-")
        files += [
            EncodedFile(data=f.data, suffix=suffix + f.suffix, extension=f.extension) for f in encoded.files
        ]
        worst = max(worst, encoded.worst_error_cents)
        used = max(used, encoded.channels_used)
        remarks += encoded.remarks
        if encoded.channels_used > 1 and options.encoding == "bend":
            spread.append(part.name)
    if spread:
        remarks.append(_several_channels(spread))
    return Encoded(
        files=tuple(files), channels_used=used, worst_error_cents=worst, remarks=tuple(dict.fromkeys(remarks))
    )


def _several_channels(names: list[str]) -> Remark:
    return Remark(
        code="several-channels",
        message=f"{', '.join(names)}: notes in different tunings sound together, so the file"
        f"{'s have' if len(names) > 1 else ' has'} several channels",
    )


def extract_part(score: Score, tuning: Tuning, part: Part) -> tuple[Score, Tuning]:
    """The score and tuning of one part alone.

    All tracks stay, with their names, texts, tempo map and sysex; gone are the channel events of other parts.
    Events on the part's own channel stay in whatever track they are, and so do those of channels without
    notes.
    """
    mine = score.notes["part"] == part.index
    notes = score.notes[mine].copy()
    tracks = []
    for number, track in enumerate(score.tracks):
        kept = _kept_events(score, number, part)
        if number == part.track:
            new_index = np.cumsum(kept) - 1
            for event in ("on_event", "off_event"):
                notes[event] = new_index[notes[event]]
        messages = [message for message, keep in zip(track.messages, kept.tolist(), strict=True) if keep]
        tracks.append(replace(track, ticks=track.ticks[kept], messages=messages))
    notes["part"] = 0
    alone = replace(score, tracks=tuple(tracks), parts=(replace(part, index=0),), notes=notes, remarks=())
    return alone, _extract_tuning(tuning, mine)


def _kept_events(score: Score, number: int, part: Part) -> NDArray[np.bool_]:
    track = score.tracks[number]
    own = (part.port, part.channel)
    others = {(p.port, p.channel) for p in score.parts} - {own}
    kept = np.ones(len(track.messages), bool)
    port = 0
    for index, message in enumerate(track.messages):
        if message.is_meta:
            port = message.port if message.type == "midi_port" else port
        elif (channel := message.__dict__.get("channel")) is not None:
            kept[index] = (port, channel) not in others
    strange = score.notes[(score.notes["track"] == number) & (score.notes["part"] != part.index)]
    kept[strange["on_event"]] = kept[strange["off_event"]] = False
    return kept


def _extract_tuning(tuning: Tuning, mine: NDArray[np.bool_]) -> Tuning:
    rows = tuning.offsets[mine[tuning.offsets["note"]]].copy()
    rows["note"] = (np.cumsum(mine) - 1)[rows["note"]]
    return Tuning(offsets=rows, displacement_cents=tuning.displacement_cents)


def _slug(name: str) -> str:
    """A name that every file system takes."""
    return re.sub(r"[^\w]+", "-", name.lower()).strip("-")[:40]

"""Byte-level repair in front of the parser: from any bytes to one sound Standard MIDI File.

What is mended and why is listed in docs/damaged-files.md. The walk over a sound file changes nothing.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NoReturn

import mido

from retune.errors import InputError, Remark
from retune.score.events import END_OF_TRACK, Mends, TrackWalk, Walk

# Limits that keep time and memory bounded; chosen well above the largest files met in practice.
MOST_FILE_BYTES = 64 << 20
MOST_EVENT_BYTES = 16 << 20  # about five million events; to convert two million takes 1.3 GB
MOST_NOTES_AT_ONCE = 50_000  # held at one moment; all keys of all channels of sixteen ports are 32,768
MOST_TRACKS = 32767  # the parser's header field is signed
_JUNK_IN_FRONT = 1024  # as far as a file header is searched for (128 bytes of it are a common file wrapper)
# Notes one after another without time between them, no more than tell a crowd; found before the parser makes objects.
_AT_ONE_TICK = re.compile(rb"[\x90-\x9f][\x00-\x7f]{2}(?:\x00[\x90-\x9f]?[\x00-\x7f]{2}){1,70000}")
_SMPTE_RATES = (24, 25, 29, 30)  # SMF 2.1


@dataclass(slots=True, kw_only=True)
class Repaired:
    """Tracks the parser reads without loss, each as stretches of channel events and single other events.

    Events the parser cannot represent are replaced by sequencer-specific meta events whose four data bytes are an
    index into `asides`. `division` is the signed word of the header.
    """

    tracks: list[list[bytes]]
    asides: list[mido.Message]
    format: int
    division: int
    remarks: list[Remark]


def repair(data: bytes, *, name: str = "input") -> Repaired:
    """Mend what a player would play through, and say so in remarks.

    Raises
    ------
    InputError
        Where there is nothing to play: not a MIDI file, no track, division 0, or more than can be handled.

    """
    mends = Mends()
    start, size = _find_header(data, name, mends)
    if size - start > MOST_FILE_BYTES:
        raise InputError(f"{name}: more than {MOST_FILE_BYTES >> 20} MB; this is hardly music")
    stated_format, count, division, at = _read_header(data, start, size, name, mends)
    shared = Walk(name=name)
    tracks, remarks = _walk_chunks(data, at, size, shared, mends)
    _check_tracks(tracks, name)
    format_ = _true_format(stated_format, len(tracks))
    return Repaired(
        tracks=tracks,
        asides=shared.asides,
        format=format_,
        division=division,
        remarks=[
            *mends.remarks(),
            *_header_remarks(stated_format, format_, count, len(tracks), start),
            *remarks,
        ],
    )


def _find_header(data: bytes, name: str, mends: Mends) -> tuple[int, int]:
    """Offset of the file header and the offset where the MIDI file ends."""
    if not data:
        raise InputError(f"{name}: the file is empty; give a Standard MIDI File (.mid)")
    if data[:4] == b"MThd":
        return 0, len(data)
    found = _find_riff_data(data)
    if found:
        mends.note("riff", 0)
        return found
    at = data.find(b"MThd", 0, _JUNK_IN_FRONT)
    if at < 0:
        raise InputError(
            f"{name}: this is {_kind_of(data)}, not a MIDI file (no MThd header); give a .mid file"
        )
    mends.note("bytes-in-front", 0)
    return at, len(data)


def _find_riff_data(data: bytes) -> tuple[int, int] | None:
    """Start and end of the MIDI file in a RIFF file: chunk sizes little-endian, padded to even (RP-029)."""
    if data[:4] != b"RIFF" or data[8:12] != b"RMID":
        return None
    at = 12
    while at + 8 <= len(data):
        length = int.from_bytes(data[at + 4 : at + 8], "little")
        if data[at : at + 4] == b"data" and data[at + 8 : at + 12] == b"MThd":
            return at + 8, min(at + 8 + length, len(data))
        at += 8 + length + (length & 1)
    return None


def _kind_of(data: bytes) -> str:
    head = data[:512]
    if head.startswith(b"SMF2CLIP"):
        return "a MIDI 2.0 clip"
    if all(byte in b"\t\n\r\f" or byte >= 0x20 for byte in head):
        return "a text file"
    return "a file of another kind"


def _read_header(data: bytes, start: int, size: int, name: str, mends: Mends) -> tuple[int, int, int, int]:
    """Format, stated number of tracks, division, and the offset of the first chunk after the header."""
    if size < start + 14:
        raise InputError(f"{name}: the MIDI file breaks off inside its header; get a whole copy of it")
    length, format_, count, division = struct.unpack_from(">LHHh", data, start + 4)
    rate, ticks = -(division >> 8), division & 0xFF
    if division == 0 or (division < 0 and ticks == 0):
        raise InputError(
            f"{name}: byte {start + 12}: the header gives 0 ticks per quarter note, so nothing has a time; "
            "export the file again from the program that made it"
        )
    if division < 0 and rate not in _SMPTE_RATES:
        mends.note("frame-rate", start + 12)
    at = start + 8 + length
    if length != 6:
        mends.note("header-length", start + 4)
        if length < 6 or not _is_chunk(data, at, size):
            at = start + 14
    return format_, count, division, at


def _true_format(stated: int, tracks: int) -> int:
    """Format that fits what the file holds."""
    if stated > 2 or (stated == 0 and tracks > 1):
        return 1 if tracks > 1 else 0
    return stated


def _header_remarks(
    stated_format: int, format_: int, stated_count: int, count: int, start: int
) -> Iterator[Remark]:
    if stated_count != count:
        message = f"the header states {stated_count} tracks, the file holds {count}; all were read"
        yield Remark(code="track-count", message=message, where=f"byte {start + 10}")
    if stated_format != format_:
        message = f"format {stated_format} with {count} track{'s' * (count > 1)} was read as format {format_}"
        yield Remark(code="format", message=message, where=f"byte {start + 8}")


def _is_chunk(data: bytes, at: int, size: int) -> bool:
    """Tell whether a chunk may start here: file end, a track, or a name with a length that fits."""
    kind = data[at : at + 4]
    if at == size or kind == b"MTrk":
        return True
    return (
        at + 8 <= size
        and kind.isascii()
        and kind.decode("ascii").isprintable()
        and at + 8 + int.from_bytes(data[at + 4 : at + 8], "big") <= size
    )


def _walk_chunks(
    data: bytes, at: int, size: int, shared: Walk, mends: Mends
) -> tuple[list[list[bytes]], list[Remark]]:
    """Mended events of every track from an offset on, and what was mended in them."""
    tracks: list[list[bytes]] = []
    remarks: list[Remark] = []
    while at < size:
        shared.step()
        if data[at : at + 4] == b"MTrk" and at + 8 <= size:
            walk, at = _walk_track(data, at, size, shared)
            tracks.append(walk.out)
            remarks += walk.mends.remarks(len(tracks))
        else:
            at = _skip_to_track(data, at, size, mends)
    return tracks, remarks


def _skip_to_track(data: bytes, at: int, size: int, mends: Mends) -> int:
    """Offset after something that is no track: an unknown chunk (SMF 1.3) or bytes that are no chunk."""
    if at + 8 <= size and _is_chunk(data, at, size):
        mends.note("chunk", at)
        return at + 8 + int.from_bytes(data[at + 4 : at + 8], "big")
    mends.note("junk", at)
    after = data.find(b"MTrk", at + 1, size)
    return size if after < 0 else after


def _walk_track(data: bytes, at: int, size: int, shared: Walk) -> tuple[TrackWalk, int]:
    """Walk over the events of the track chunk at an offset; also the offset to go on from."""
    start = at + 8
    stated = start + int.from_bytes(data[at + 4 : at + 8], "big")
    end = _track_end(data, start, stated, size)
    walk = TrackWalk(data, start, end, shared).walk()
    after = walk.next if walk.ended else end
    if after < end == stated and data[after : after + 4] != b"MTrk":
        walk.mends.note("after-end", after)
        after = end
    if after != stated and "truncated" not in walk.mends.found:
        walk.mends.note("track-length", at + 4)
    return walk, after


def _track_end(data: bytes, start: int, stated: int, size: int) -> int:
    """Offset no event of the track lies beyond.

    The stated end holds if a chunk or the end of the file is there. Otherwise the events run on to the next
    track if the stated end is past it, or if an end-of-track event shows that they do.
    """
    if _is_chunk(data, stated, size):
        return stated
    limit = data.find(b"MTrk", start, size)
    limit = size if limit < 0 else limit
    if stated > limit or data.find(END_OF_TRACK, max(stated - 3, start), limit) >= 0:
        return limit
    return stated


def _check_tracks(tracks: list[list[bytes]], name: str) -> None:
    if not tracks:
        raise InputError(
            f"{name}: the MIDI file holds no track; export it again from the program that made it"
        )
    if len(tracks) > MOST_TRACKS:
        raise InputError(f"{name}: more than {MOST_TRACKS} tracks; this is hardly music")
    size = sum(len(stretch) for track in tracks for stretch in track)
    if size > MOST_EVENT_BYTES:
        raise InputError(
            f"{name}: more than {MOST_EVENT_BYTES >> 20} MB of events are too many for one piece; split it"
        )
    # The bytes of a note event and its delta time are at most four, most often three.
    if size // 4 <= MOST_NOTES_AT_ONCE:
        return
    runs = (run[0] for track in tracks for run in _AT_ONE_TICK.finditer(b"".join(track)))
    if any(len(run) // 4 > MOST_NOTES_AT_ONCE for run in runs):
        refuse_crowd(name)


def refuse_crowd(name: str) -> NoReturn:
    """Raise `InputError` for more notes at once than can be handled."""
    raise InputError(f"{name}: more than {MOST_NOTES_AT_ONCE} notes sound at once; this is hardly music")

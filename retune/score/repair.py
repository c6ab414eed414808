"""Byte-level repair in front of the parser: from any bytes to one sound Standard MIDI File.

What is mended and why is listed in docs/damaged-files.md. The walk over a sound file changes nothing and
costs about two hundredths of parsing it.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field

import mido

from retune.errors import InputError, Remark
from retune.score.events import END_OF_TRACK, TrackWalk

# Limits that keep time and memory bounded; chosen well above the largest files met in practice.
MOST_EVENT_BYTES = 16 << 20  # about five million events, which take some 2 GB as objects
MOST_ASIDE_BYTES = 64 << 20
MOST_TRACKS = 32767  # the parser's header field is signed
_JUNK_IN_FRONT = 1024  # as far as a file header is searched for (128 bytes of it are a common file wrapper)
_SMPTE_RATES = (24, 25, 29, 30)  # SMF 2.1


@dataclass(slots=True, kw_only=True)
class Repaired:
    """A file the parser reads without loss.

    Attributes
    ----------
    data
        Bytes of the file; stand-ins for events the parser cannot represent are sequencer-specific meta
        events whose four data bytes are an index into `asides`.
    format, division
        Of the header, division as a signed word.

    """

    data: bytes
    asides: list[mido.Message]
    format: int
    division: int
    remarks: list[Remark] = field(default_factory=list)


def repair(data: bytes, *, name: str = "input") -> Repaired:
    """Mend what a player would play through, and say so in remarks.

    Raises
    ------
    InputError
        Where there is nothing to play: not a MIDI file, no track, division 0, or larger than can be handled.

    """
    remarks: list[Remark] = []
    start, size = _find_header(data, name, remarks)
    format_, count, division, at = _read_header(data, start, size, name, remarks)
    asides: list[mido.Message] = []
    tracks = _walk_chunks(data, at, size, asides, name, remarks)
    if not tracks:
        raise InputError(
            f"{name}: the MIDI file holds no track; export it again from the program that made it"
        )
    _check_sizes(tracks, asides, name)
    if count != len(tracks):
        remarks.append(
            Remark(
                code="track-count",
                message=f"the header states {count} tracks, the file holds {len(tracks)}; all were read",
                where=f"byte {start + 10}",
            )
        )
    format_ = _true_format(format_, len(tracks), start, remarks)
    header = struct.pack(">4sLhhh", b"MThd", 6, format_, len(tracks), division)
    chunks = [struct.pack(">4sL", b"MTrk", len(track)) + track for track in tracks]
    return Repaired(
        data=b"".join([header, *chunks]), asides=asides, format=format_, division=division, remarks=remarks
    )


def _find_header(data: bytes, name: str, remarks: list[Remark]) -> tuple[int, int]:
    """Offset of the file header and the offset where the MIDI file ends."""
    if not data:
        raise InputError(f"{name}: the file is empty; give a Standard MIDI File (.mid)")
    if data[:4] == b"MThd":
        return 0, len(data)
    if data[:4] == b"RIFF" and data[8:12] == b"RMID":
        found = _find_riff_data(data)
        if found:
            remarks.append(Remark(code="riff", message="the MIDI file was taken out of its RIFF wrapper"))
            return found
    at = data.find(b"MThd", 0, _JUNK_IN_FRONT)
    if at < 0:
        raise InputError(
            f"{name}: this is {_kind_of(data)}, not a MIDI file (no MThd header); "
            "give a Standard MIDI File (.mid)"
        )
    remarks.append(
        Remark(
            code="bytes-in-front",
            message=f"{at} bytes in front of the file header were skipped",
            where="byte 0",
        )
    )
    return at, len(data)


def _find_riff_data(data: bytes) -> tuple[int, int] | None:
    """Start and end of the MIDI file in a RIFF file: chunk sizes little-endian, padded to even (RP-029)."""
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


def _read_header(
    data: bytes, start: int, size: int, name: str, remarks: list[Remark]
) -> tuple[int, int, int, int]:
    """Format, stated number of tracks, division, and the offset of the first chunk after the header."""
    if size < start + 14:
        raise InputError(f"{name}: the MIDI file breaks off inside its header; get a whole copy of it")
    length, format_, count, division = struct.unpack_from(">LHHh", data, start + 4)
    if length != 6:
        remarks.append(
            Remark(
                code="header-length",
                message=f"the file header states a length of {length} bytes instead of 6",
                where=f"byte {start + 4}",
            )
        )
    at = start + 8 + length
    if length < 6 or not _is_chunk(data, at, size):
        at = start + 14
    _check_division(division, start, name, remarks)
    return format_, count, division, at


def _check_division(division: int, start: int, name: str, remarks: list[Remark]) -> None:
    rate, ticks = -(division >> 8), division & 0xFF
    if division == 0 or (division < 0 and ticks == 0):
        raise InputError(
            f"{name}: byte {start + 12}: the file header gives 0 ticks per quarter note, so nothing in it "
            "has a time; export it again from the program that made it"
        )
    if division < 0 and rate not in _SMPTE_RATES:
        remarks.append(
            Remark(
                code="frame-rate",
                message=f"{rate} frames per second is no rate of the standard (24, 25, 29, 30), but taken",
                where=f"byte {start + 12}",
            )
        )


def _true_format(format_: int, tracks: int, start: int, remarks: list[Remark]) -> int:
    """Correct a format that does not fit what follows."""
    true = format_
    if format_ > 2 or (format_ == 0 and tracks > 1):
        true = 1 if tracks > 1 else 0
        remarks.append(
            Remark(
                code="format",
                message=f"format {format_} with {tracks} track{'s' * (tracks > 1)} was read as format {true}",
                where=f"byte {start + 8}",
            )
        )
    return true


def _is_chunk(data: bytes, at: int, size: int) -> bool:
    """Tell whether a chunk may start here: file end, a track, or a name with a length that fits."""
    if at == size or data[at : at + 4] == b"MTrk":
        return True
    kind = data[at : at + 4]
    return (
        at + 8 <= size
        and all(0x20 <= byte < 0x7F for byte in kind)
        and at + 8 + int.from_bytes(data[at + 4 : at + 8], "big") <= size
    )


def _walk_chunks(
    data: bytes, at: int, size: int, asides: list[mido.Message], name: str, remarks: list[Remark]
) -> list[bytes]:
    """Mended events of every track from an offset on."""
    tracks: list[bytes] = []
    while at < size:
        if data[at : at + 4] == b"MTrk" and at + 8 <= size:
            if len(tracks) == MOST_TRACKS:
                raise InputError(f"{name}: the file holds more than {MOST_TRACKS} tracks; split it")
            events, at = _walk_track(data, at, size, asides, len(tracks) + 1, remarks)
            tracks.append(events)
        else:
            at = _skip_to_track(data, at, size, remarks)
    return tracks


def _skip_to_track(data: bytes, at: int, size: int, remarks: list[Remark]) -> int:
    """Offset after something that is no track: an unknown chunk (SMF 1.3) or bytes that are no chunk."""
    if _is_chunk(data, at, size) and data[at : at + 4] != b"MTrk":
        kind = data[at : at + 4].decode("ascii")
        remarks.append(Remark(code="chunk", message=f"chunk {kind!r} was skipped", where=f"byte {at}"))
        return at + 8 + int.from_bytes(data[at + 4 : at + 8], "big")
    after = data.find(b"MTrk", at + 1, size)
    after = size if after < 0 else after
    remarks.append(
        Remark(
            code="junk",
            message=f"{after - at} bytes that belong to no track were skipped",
            where=f"byte {at}",
        )
    )
    return after


def _walk_track(
    data: bytes, at: int, size: int, asides: list[mido.Message], number: int, remarks: list[Remark]
) -> tuple[bytes, int]:
    """Mended events of the track chunk at an offset, and the offset to go on from."""
    start = at + 8
    stated = start + int.from_bytes(data[at + 4 : at + 8], "big")
    end = _track_end(data, start, stated, size)
    walk = TrackWalk(data, start, end, asides).walk()
    if walk.ended and walk.next < end and data[walk.next : walk.next + 4] != b"MTrk" and end == stated:
        walk.mends.note("after-end", walk.next)
        after = end
    elif walk.ended:
        after = walk.next
    else:
        after = end
    if after != stated:
        walk.mends.note("track-length", at + 4)
    remarks.extend(walk.mends.remarks(number))
    return b"".join(walk.out), after


def _track_end(data: bytes, start: int, stated: int, size: int) -> int:
    """Offset no event of the track lies beyond.

    The stated end holds if a chunk or the end of the file is there. Otherwise the events run on to the
    next track if the stated end is past the file or an end-of-track event shows that they do.
    """
    if _is_chunk(data, stated, size):
        return stated
    limit = data.find(b"MTrk", start, size)
    limit = size if limit < 0 else limit
    if stated > limit or data.find(END_OF_TRACK, max(stated - 3, start), limit) >= 0:
        return limit
    return stated


def _check_sizes(tracks: list[bytes], asides: list[mido.Message], name: str) -> None:
    events = sum(map(len, tracks))
    if events > MOST_EVENT_BYTES:
        raise InputError(
            f"{name}: {events >> 20} MB of events are more than can be retuned in one piece "
            f"({MOST_EVENT_BYTES >> 20} MB); split the file"
        )
    beside = sum(len(message.data) for message in asides)
    if beside > MOST_ASIDE_BYTES:
        raise InputError(
            f"{name}: {beside >> 20} MB of system exclusive and other data are more than can be "
            f"carried along ({MOST_ASIDE_BYTES >> 20} MB); remove them"
        )

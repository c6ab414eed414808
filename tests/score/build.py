"""Builders of Standard MIDI Files, byte by byte."""

from __future__ import annotations

import io

import mido

from retune.score import Score, read_score, write_tracks

END = bytes.fromhex("00 FF 2F 00")


def chunk(kind: bytes, body: bytes, length: int | None = None) -> bytes:
    """A chunk; `length` states another length than the true one."""
    return kind + (len(body) if length is None else length).to_bytes(4, "big") + body


def header(tracks: int, *, format_: int = 1, division: int = 480) -> bytes:
    """The file header (SMF 2.1)."""
    words = (format_, tracks, division & 0xFFFF)
    return chunk(b"MThd", b"".join(word.to_bytes(2, "big") for word in words))


def smf(*tracks: str | bytes, division: int = 480, format_: int | None = None) -> bytes:
    """A file of tracks given as bytes or hex text, each closed by an end-of-track event."""
    format_ = (0 if len(tracks) == 1 else 1) if format_ is None else format_
    bodies = [bytes.fromhex(track) if isinstance(track, str) else track for track in tracks]
    return header(len(tracks), format_=format_, division=division) + b"".join(
        chunk(b"MTrk", body + END) for body in bodies
    )


def events(data: bytes) -> list[list[mido.Message]]:
    """The messages of a sound file, by mido alone."""
    return [list(track) for track in mido.MidiFile(file=io.BytesIO(data)).tracks]


def write(score: Score) -> bytes:
    """The tracks of a score, untouched, as bytes."""
    return write_tracks(format=score.format, division=score.division, tracks=score.tracks)


def notes(data: bytes) -> list[tuple[int, int, int]]:
    """(onset tick, release tick, key) of the notes."""
    table = read_score(data).notes
    return [(int(n["onset_tick"]), int(n["release_tick"]), int(n["key"])) for n in table]


def codes(data: bytes) -> list[str]:
    """Codes of the remarks."""
    return [remark.code for remark in read_score(data).remarks]

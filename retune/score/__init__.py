"""Bytes in, the score out: notes as columns, clock, meters and parts, every other event kept in its place.

And back: the events of tracks to the bytes of a file. Damaged files are mended first (docs/damaged-files.md).
"""

from retune.score.model import NOTE_DTYPE, Clock, Meters, Part, Score, Track
from retune.score.reader import read_score
from retune.score.writer import moved, write_tracks

__all__ = ["NOTE_DTYPE", "Clock", "Meters", "Part", "Score", "Track", "moved", "read_score", "write_tracks"]

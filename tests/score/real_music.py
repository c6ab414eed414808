"""Real music as files: public-domain scores of the music21 corpus, written by music21."""

from __future__ import annotations

import functools
import warnings

WORKS = ("bach/bwv66.6", "schumann_robert/opus48no2", "haydn/opus1no1/movement4")


@functools.cache
def real_file(work: str) -> bytes:
    """The work as a Standard MIDI File."""
    from music21 import corpus, midi

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # music21's own
        data: bytes = midi.translate.streamToMidiFile(corpus.parse(work)).writestr()
    return data

"""The table of encodings."""

from __future__ import annotations

from collections.abc import Callable

from retune.encode.bend import encode_bend
from retune.encode.midi2 import encode_midi2
from retune.encode.model import Encoded
from retune.encode.mpe import encode_mpe
from retune.encode.mts import encode_mts
from retune.encode.octave import encode_octave
from retune.options import Options
from retune.score.model import Score
from retune.tuning.model import Tuning

Encoder = Callable[[Score, Tuning, Options], Encoded]

_ENCODERS: dict[str, Encoder] = {
    "bend": encode_bend,
    "mpe": encode_mpe,
    "mts": encode_mts,
    "mts-octave": encode_octave,
    "midi2": encode_midi2,
}


def encode(score: Score, tuning: Tuning, options: Options) -> Encoded:
    """Encode a tuning as `options.encoding` says.

    The result holds the bytes of every file, and the largest difference [cents] between the tuning and what
    the messages stand for, losses from lack of channels included.
    """
    return _ENCODERS[options.encoding](score, tuning, options)

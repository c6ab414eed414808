"""The table of encodings, and the choice between one file and several."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import replace
from functools import partial

from retune.encode.model import Encoded
from retune.encode.plain.plain import plain
from retune.errors import Remark
from retune.options import Options
from retune.score.model import Score
from retune.tuning.model import Tuning

Encoder = Callable[[Score, Tuning, Options], Encoded]

_ENCODERS = {
    "bend": ("retune.encode.bend", "encode_bend"),
    "mpe": ("retune.encode.mpe", "encode_mpe"),
    "mts": ("retune.encode.mts", "encode_mts"),
    "mts-octave": ("retune.encode.octave", "encode_octave"),
    "midi2": ("retune.encode.midi2", "encode_midi2"),
}
"""Name of an encoding → module and function, imported on use: a program that converts one file needs one."""

FULL = frozenset(("channels-full", "zones-full"))
"""Codes of the remarks that say that the channels of one file did not suffice."""


def encode(score: Score, tuning: Tuning, options: Options) -> Encoded:
    """Encode a tuning as `options.encoding` says.

    Raises `InputError` for zones of MPE in the input that cannot be dissolved, `OptionError` where a drum kit
    or a crowd of equal keys is in the way.

    Returns
    -------
    Encoded
        The bytes of every file, and the largest difference [cents] between the tuning and what the messages
        stand for, losses included. There is one file, unless `options.when_full` is "files" and one does not
        suffice.

    """
    encoder = _encoder(options)
    score, tuning, error = plain(score, tuning, options)
    encoded = _with_error(encoder(score, tuning, options), error)
    if (
        options.when_full != "files"
        or len(score.parts) < 2
        or not any(r.code in FULL for r in encoded.remarks)
    ):
        return encoded
    from retune.encode.apart import encode_apart

    apart = encode_apart(score, tuning, options, encoder)
    said = Remark(
        code="one-file-a-part",
        message=f"one file does not have the channels for all tunings: {len(apart.files)} files, one for each part",
    )
    return _with_error(replace(apart, remarks=(said, *apart.remarks)), error)


def per_part(score: Score, tuning: Tuning, options: Options) -> Encoded:
    """One complete file for each part, with the tempo map, meters, keys and markers of the whole.

    For receivers that keep one channel a track: with "bend" a part that sounds one note at a time stays on its
    channel, and a remark names those that do not.
    """
    from retune.encode.apart import encode_apart

    encoder = _encoder(options)
    if options.encoding == "bend":
        from retune.encode.bend import encode_bend

        encoder = partial(encode_bend, tails=False)
    score, tuning, error = plain(score, tuning, options)
    return _with_error(encode_apart(score, tuning, options, encoder), error)


def _with_error(encoded: Encoded, error: float) -> Encoded:
    return replace(encoded, worst_error_cents=encoded.worst_error_cents + error)


def _encoder(options: Options) -> Encoder:
    module, function = _ENCODERS[options.encoding]
    encoder: Encoder = getattr(importlib.import_module(module), function)
    return encoder

"""Samples ↔ bytes of sound files: WAV by the standard library, FLAC by soundfile (extra `audio`)."""

from __future__ import annotations

import io
import wave

import numpy as np
from numpy.typing import NDArray

from retune.errors import OptionError

FloatArray = NDArray[np.float64]

BIT_DEPTHS = (16, 24)


def sound_file(samples: FloatArray, *, rate: int, bits: int = 16, kind: str = "wav") -> bytes:
    """Return a mono WAV or FLAC file of (n,) samples, `rate` a second [Hz]; beyond full scale, 1.0, they are cut."""
    whole = _integers(samples, bits)
    if kind == "flac":
        return _flac(whole, rate, bits)
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(bits // 8)
        out.setframerate(rate)
        out.writeframes(_packed(whole, bits))
    return buffer.getvalue()


def read_wave(data: bytes) -> tuple[FloatArray, int]:
    """Return samples of a 16-bit WAV file, several channels averaged into one, and the sample rate."""
    with wave.open(io.BytesIO(data)) as file:
        frames = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2").astype(np.float64)
        return frames.reshape(-1, file.getnchannels()).mean(axis=1) / 32768.0, file.getframerate()


def _integers(samples: FloatArray, bits: int) -> NDArray[np.int32]:
    top = 2 ** (bits - 1) - 1
    whole: NDArray[np.int32] = np.clip(np.rint(samples * top), -top, top).astype("<i4")
    return whole


def _packed(whole: NDArray[np.int32], bits: int) -> bytes:
    """Little-endian samples of `bits` bits; of each four bytes the low ones count."""
    return whole.view(np.uint8).reshape(-1, 4)[:, : bits // 8].tobytes()


def _flac(whole: NDArray[np.int32], rate: int, bits: int) -> bytes:
    try:
        import soundfile
    except ImportError as error:
        raise OptionError(
            "FLAC needs the soundfile package: pip install 'retune[audio]', or write .wav"
        ) from error
    buffer = io.BytesIO()
    # soundfile takes 32-bit integers as full scale and keeps the upper bits
    soundfile.write(buffer, whole << (32 - bits), rate, subtype=f"PCM_{bits}", format="FLAC")
    return buffer.getvalue()

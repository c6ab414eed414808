"""Sound files and levels."""

from __future__ import annotations

import io
import wave

import numpy as np
import pytest

from retune.listen.audio import read_wave, sound_file
from retune.listen.level import faded, matched, rms, with_peak

RATE = 44100
SWEEP = 0.5 * np.sin(np.cumsum(np.linspace(0.01, 0.5, 20000)))


@pytest.mark.parametrize("bits", [16, 24])
def test_wav_holds_the_samples_to_half_a_step(bits: int) -> None:
    with wave.open(io.BytesIO(sound_file(SWEEP, rate=RATE, bits=bits))) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, bits // 8, RATE)
        raw = np.frombuffer(file.readframes(file.getnframes()), np.uint8).reshape(-1, bits // 8)
    wide = np.zeros((len(raw), 4), np.uint8)
    wide[:, 4 - bits // 8 :] = raw
    whole = wide.view("<i4")[:, 0] >> (32 - bits)
    np.testing.assert_allclose(whole / (2 ** (bits - 1) - 1), SWEEP, atol=0.5001 / (2 ** (bits - 1) - 1))


@pytest.mark.parametrize("bits", [16, 24])
def test_flac_holds_the_same_samples_as_wav(bits: int) -> None:
    soundfile = pytest.importorskip("soundfile")
    flac = sound_file(SWEEP, rate=48000, bits=bits, kind="flac")
    assert flac[:4] == b"fLaC"  # RFC 9639, section 6: the stream begins with these four bytes
    samples, rate = soundfile.read(io.BytesIO(flac), dtype="int32")
    expected, _ = soundfile.read(io.BytesIO(sound_file(SWEEP, rate=48000, bits=bits)), dtype="int32")
    assert rate == 48000
    assert (samples == expected).all()


def test_samples_beyond_full_scale_are_cut_not_wrapped() -> None:
    samples, _ = read_wave(sound_file(np.array([1.5, -1.5, 0.0]), rate=RATE))
    np.testing.assert_allclose(samples, [1.0, -1.0, 0.0], atol=1e-4)


def test_the_same_samples_give_the_same_bytes() -> None:
    assert sound_file(SWEEP, rate=RATE) == sound_file(SWEEP.copy(), rate=RATE)


def test_levels() -> None:
    assert rms(matched(SWEEP * 0.01, SWEEP)) == pytest.approx(rms(SWEEP))
    assert np.abs(with_peak(SWEEP, -20.0)).max() == pytest.approx(0.1)
    silence = np.zeros(10)
    assert not with_peak(silence, -12.0).any()
    assert not matched(silence, SWEEP).any()
    ends = faded(np.ones(1000), 0.01, 10000)
    assert ends[0] < 0.001
    assert ends[-1] < 0.001
    assert (ends[100:900] == 1.0).all()

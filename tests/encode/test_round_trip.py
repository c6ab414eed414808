"""Round trip: thirty real files through every encoding and back through the independent decoder.

Bach chorales of the music21 corpus (public domain) and the sample scores. Nothing may be lost, and every note must
sound within the published step of its encoding: pitch bend MIDI 1.0 p. 19 and MPE C.3, tuning words MTS p. 1, scale
and octave tuning MTS pp. 7–8, pitch 7.25 of M2-104-UM 7.4.15.2.
"""

from pathlib import Path

import pytest

from retune.options import ENCODINGS, Options
from retune.pipeline import analyze, finish, tune
from tests.score.real_music import real_file

CHORALES = (
    "bach/bwv10.7", "bach/bwv101.7", "bach/bwv102.7", "bach/bwv103.6", "bach/bwv104.6", "bach/bwv108.6",
    "bach/bwv11.6", "bach/bwv110.7", "bach/bwv111.6", "bach/bwv112.5", "bach/bwv113.8", "bach/bwv114.7",
    "bach/bwv115.6", "bach/bwv116.6", "bach/bwv117.4", "bach/bwv119.9", "bach/bwv121.6", "bach/bwv122.6",
    "bach/bwv123.6", "bach/bwv124.6", "bach/bwv125.6", "bach/bwv126.6", "bach/bwv127.5", "bach/bwv13.6",
    "bach/bwv14.5",
)  # fmt: skip
SAMPLES = sorted((Path(__file__).parents[2] / "sample_scores").glob("*.mid"))
WORST_CENTS = {
    "bend": 200 / 16384,  # half of a step of range 2
    "mpe": 200 / 16384,
    "mts": 100 / 16384 / 2,
    "mts-octave": 100 / 8192 / 2,
    "midi2": 0.098,  # receivers need honour nine bits of a semitone only
}


@pytest.mark.parametrize("name", [*CHORALES, *(path.stem for path in SAMPLES)])
def test_every_encoding_of_a_real_file_sounds_as_meant(name):
    sample = next((path for path in SAMPLES if path.stem == name), None)
    data = sample.read_bytes() if sample else real_file(name)
    analysis = analyze(data)
    assert set(WORST_CENTS) == set(ENCODINGS)
    for encoding, worst in WORST_CENTS.items():
        tuning = tune(analysis, Options(encoding=encoding), explain=False)
        checked = finish(analysis, tuning).checked
        assert checked.ok, (encoding, checked.problems)
        assert checked.worst_error_cents <= worst + 1e-6, encoding


def test_there_are_thirty():
    assert len(CHORALES) + len(SAMPLES) >= 30

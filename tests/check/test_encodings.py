"""Every encoding of a real piece, decoded: the same tuning, to half a step of the encoding, and nothing lost."""

from __future__ import annotations

import dataclasses
import functools

import pytest

from retune.check import CheckReport, check
from retune.encode import encode
from retune.options import ENCODINGS, Options
from retune.pipeline import analyze, tune
from retune.score import read_score
from tests.check.build import smf
from tests.check.music import real_file
from tests.check.test_check import tuning_of

HALF_STEPS = {"bend": 0.0123, "mpe": 0.0123, "mts": 0.0031, "mts-octave": 0.0062, "midi2": 0.00001}
"""Half a step of each encoding [cents]: bends at range 2 (MIDI 1.0 p. 19), MTS p. 1 and p. 8, UMP 7.4.15.2."""


@functools.cache
def report(encoding: str) -> CheckReport:
    options = Options(encoding=encoding)
    analysis = analyze(real_file("bach/bwv66.6"), options)
    tuning = tune(analysis, explain=False)
    encoded = encode(analysis.score, tuning, options)
    return check(analysis.score, encoded, intended=tuning, harmony=analysis.harmony)


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_error_and_fidelity(encoding: str) -> None:
    found = report(encoding)
    assert found.ok
    assert found.worst_error_cents <= HALF_STEPS[encoding]
    assert found.error.worst_tail_cents <= HALF_STEPS[encoding]
    assert found.remarks == ()


@pytest.mark.parametrize("encoding", ENCODINGS[1:])
def test_all_encodings_carry_the_same_tuning(encoding: str) -> None:
    one, other = report("bend").after.as_dict(), report(encoding).after.as_dict()
    assert one.pop("share_within_1_cent") == pytest.approx(other.pop("share_within_1_cent"), abs=0.02)
    assert one == pytest.approx(other, abs=0.05)


def test_texts_keys_meters_and_sysex_reach_a_clip() -> None:
    """UTF-8, Latin-1 and long texts, a key, a meter, a tempo, a sysex, controllers."""
    long = b"Guten Abend, gute Nacht, mit Rosen bedacht".hex(" ")
    events = (
        f"00 FF 51 03 07A121 00 FF 58 04 06030808 00 FF 59 02 FD 01 00 FF 05 04 66C3BC72 00 FF 06 03 66FC72 "
        f"00 FF 01 2A {long} 00 F0 06 43 12 00 07 01 F7 00 B0 07 64 00 90 40 40 60 80 40 21 00 FF 05 01 61"
    )
    score = read_score(smf(events))
    tuning = tuning_of(score, lambda *_: -13.686)
    encoded = encode(score, tuning, Options(encoding="midi2"))
    assert check(score, encoded, intended=tuning).problems == ()
    for other in ("07A122", "06030808", "FD 01", "66C3BC72", "66FC72", "07 01 F7", "B0 07 64", "80 40 21"):
        changed = other[:-1] + ("3" if other[-1] != "3" else "4") if other != "06030808" else "05030808"
        assert events.replace("07A121", "07A122").count(other) == 1
        spoiled = read_score(smf(events.replace("07A121", "07A122").replace(other, changed)))
        file = dataclasses.replace(encoded)
        assert not check(spoiled, file, intended=tuning).ok, other

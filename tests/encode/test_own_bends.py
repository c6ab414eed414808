"""Files that bend and tune their channels themselves: the tuning is added, and the result decodes as announced."""

import pytest

from retune import pipeline
from retune.encode import encode
from retune.options import Options
from retune.units import bend_step_cents
from tests.encode.build import Event, file_of, in_order, note, score_of, tuning_of

CHORDS = ((60, 64, 67), (57, 60, 64), (62, 65, 69), (55, 59, 62))


def chords(channel: int = 0) -> list[Event]:
    """Four chords of two crotchets."""
    return in_order(
        *(note(960 * k, 960 * k + 959, key, channel) for k, keys in enumerate(CHORDS) for key in keys)
    )


def bends() -> list[Event]:
    """Bends all through the chords, up to 75 cents, in steps of the range of two semitones."""
    return [
        (tick, f"pitchwheel channel=0 pitch={(tick * 7919) % 6001 - 3000}") for tick in range(100, 3800, 97)
    ]


def parameter(tick: int, number: int, msb: int, channel: int = 0) -> list[Event]:
    """A registered parameter: 0 bend range, 1 fine and 2 coarse tuning."""
    pairs = ((101, 0), (100, number), (6, msb))
    return [(tick, f"control_change channel={channel} control={c} value={v}") for c, v in pairs]


@pytest.mark.parametrize("semitones", [2, 5, 12, 48, 96])
def test_bends_of_another_range_are_announced(semitones):
    """The input's bends fall between the steps of a wider range: that rounding counts as well."""
    conversion = pipeline.convert(
        file_of([sorted(chords() + bends(), key=lambda e: e[0])]), Options(bend_range_semitones=semitones)
    )
    step = bend_step_cents(semitones)
    assert conversion.checked.error.worst_cents <= step + 1e-6
    assert conversion.checked.allowed_error_cents <= step + 0.01 + 1e-6


def test_bends_of_the_same_range_add_no_error():
    events = sorted(chords() + bends(), key=lambda e: e[0])
    score = score_of([events])
    encoded = encode(score, tuning_of(score, [0.0, -13.6863, 1.955] * 4), Options())
    assert encoded.worst_error_cents <= bend_step_cents(2) / 2


@pytest.mark.parametrize("encoding", ["bend", "mpe"])
def test_a_range_that_changes_is_announced(encoding):
    events = [*parameter(0, 0, 12), *parameter(1900, 0, 5), *chords(), *bends()]
    pipeline.convert(file_of([sorted(events, key=lambda e: e[0])]), Options(encoding=encoding))


@pytest.mark.parametrize("encoding", ["bend", "mpe", "mts", "mts-octave", "midi2"])
@pytest.mark.parametrize("channel", [0, 3])
def test_channel_tuning_reaches_the_notes_of_its_channel_only(encoding, channel):
    """RPN 1 and 2 tune one channel (MIDI 1.0 Detailed Specification 4.2.1 p. 18): in MPE that of every note."""
    events = [*chords(), *parameter(0, 1, 70, channel), *parameter(1500, 2, 66, channel)]
    pipeline.convert(file_of([sorted(events, key=lambda e: e[0])]), Options(encoding=encoding))

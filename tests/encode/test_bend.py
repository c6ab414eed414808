"""Channel bends: published bytes, and what a receiver hears."""

from retune.encode import encode
from retune.options import Options
from tests.encode.build import in_order, note, score_of, tuning_of
from tests.encode.receiver import hear

THIRD, FIFTH = -13.6863, 1.9550  # 5/4 and 3/2 against equal temperament


def test_a_pure_triad_takes_three_channels_with_the_published_bytes():
    """Bend bytes least significant first, centre 00 40 (MIDI 1.0 Detailed Specification 4.2.1 p. 19)."""
    score = score_of([in_order(note(0, 480, 60), note(0, 480, 64), note(0, 480, 67))])
    encoded = encode(score, tuning_of(score, [0.0, THIRD, FIFTH]), Options())
    data = encoded.files[0].data
    assert bytes.fromhex("E1 4F 3B") in data  # -13.6863 cents at range 2: 7631
    assert bytes.fromhex("E2 50 40") in data  # +1.955 cents: 8272
    assert [h.channel for h in hear(data)] == [0, 1, 2]
    assert encoded.channels_used == 3
    assert encoded.worst_error_cents < 0.0123

"""Equal events share one message, also between a score and the check of its result: nobody may change one.

An encoder that changed a message in place would show the check what it wrote, not what it read.
"""

import pytest

from retune.options import ENCODINGS, Options
from retune.pipeline import convert
from retune.score import read_score
from tests.score.real_music import real_file


def bytes_of(messages):
    return [bytes(message.bytes()) for message in messages]


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("per_part", [False, True], ids=["whole", "per part"])
def test_no_message_is_changed(encoding, per_part):
    score = read_score(real_file("haydn/opus1no1/movement4"))
    before = bytes_of(score.different_messages)
    assert len(before) > 50
    convert(score, Options(encoding=encoding, glide_ms=50.0, hold_limit_cents=10.0), per_part=per_part)
    assert bytes_of(score.different_messages) == before

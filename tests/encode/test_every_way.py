"""Random music from bytes to bytes: every encoding and every way out of too few channels.

`convert` decodes what was written with a receiver of its own (retune.check shares nothing with retune.encode) and
raises if any note, event or tuning is not as announced.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from retune.options import ENCODINGS, WHEN_FULL, Options
from retune.pipeline import convert
from tests.encode.build import Event, file_of, in_order, note

TICKS = st.integers(0, 12).map(lambda n: n * 240)
CHORD = st.tuples(
    TICKS,
    st.sampled_from([230, 240, 470, 960, 1900]),  # length
    st.sampled_from([0, 1, 2, 3, 9, 12]),  # channel: two tracks may share one, channel 10 has drums
    st.integers(48, 66),  # root
    st.sampled_from([(0,), (0, 4, 7), (0, 3, 7), (0, 4, 7, 10), (0, 5, 9), (0, 12, 16)]),
)
SETTING = st.tuples(
    TICKS.map(lambda tick: tick + 100),
    st.sampled_from([0, 1, 2, 12]),
    st.sampled_from(
        [
            "pitchwheel channel={c} pitch=2000",
            "pitchwheel channel={c} pitch=-5000",
            "pitchwheel channel={c} pitch=0",
            "control_change channel={c} control=64 value=127",
            "control_change channel={c} control=64 value=0",
            "control_change channel={c} control=7 value=80",
            "program_change channel={c} program=41",
            "aftertouch channel={c} value=50",
        ]
    ),
)


def music(tracks, settings_, wide: bool) -> bytes:
    """A file with a name for each track, and bends of twelve semitones on channel 1 if `wide`."""
    written = []
    for number, chords in enumerate(tracks):
        head: list[Event] = [(0, f"meta track_name name=Part{number}")]
        if number == 0 and wide:
            head += [
                (0, f"control_change channel=0 control={n} value={v}")
                for n, v in ((101, 0), (100, 0), (6, 12))
            ]
        notes = [
            note(on, on + length, root + key, channel)
            for on, length, channel, root, keys in chords
            for key in keys
        ]
        others = [(tick, text.format(c=c)) for tick, c, text in settings_] if number == 0 else []
        written.append([*head, *in_order(*notes, others)])
    return file_of(written, end=5000)


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("when_full", WHEN_FULL)
def test_every_way_passes_its_own_check(encoding, when_full):
    @settings(max_examples=5, deadline=None, derandomize=True)
    @given(
        st.lists(st.lists(CHORD, min_size=1, max_size=6), min_size=1, max_size=4),
        st.lists(SETTING, max_size=6),
        st.booleans(),
        st.sampled_from([2, 12]),
    )
    def passes(tracks, settings_, wide, semitones):
        options = Options(encoding=encoding, when_full=when_full, bend_range_semitones=semitones)
        conversion = convert(music(tracks, settings_, wide), options)
        assert conversion.checked.ok

    passes()


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_members_of_a_zone_that_are_told_a_range_of_nothing_do_not_bend(encoding):
    """RPN 0 = 0 on a member (M1-100-UM v1.1, 2.2.5 gives all members one range): its bends are all the same pitch."""
    zone = [(0, f"control_change channel=0 control={n} value={v}") for n, v in ((101, 0), (100, 6), (6, 3))]
    nothing = [
        (0, f"control_change channel=1 control={n} value={v}") for n, v in ((101, 0), (100, 0), (6, 0))
    ]
    bends = [(240, "pitchwheel channel=1 pitch=3000"), (300, "pitchwheel channel=0 pitch=0")]
    notes = [note(0, 480, 60, 1), note(0, 480, 64, 2), note(480, 960, 62, 1)]
    data = file_of([[*zone, *nothing, *in_order(*notes, bends)]], end=1000)
    assert convert(data, Options(encoding=encoding)).checked.ok

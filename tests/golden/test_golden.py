"""Golden files: what the sample scores become, byte for byte.

Where floating point differs between machines a bend may land on the neighbouring step; nothing else may differ.
After a change that is meant to sound, look at `retune compare`, then set RETUNE_UPDATE=1 to write the files anew.
"""

import io
import os
from itertools import zip_longest
from pathlib import Path

import mido
import pytest

from retune.options import Options
from retune.pipeline import convert

HERE = Path(__file__).parent
SAMPLES = HERE.parents[1] / "sample_scores"
CASES = (
    ("evening_hymn", Options()),
    ("close_harmony_tag", Options(prime_limit=7)),
    ("string_trio", Options(fixed=("Piano",), encoding="mpe")),
    ("slow_piano", Options(encoding="mts")),
)


@pytest.mark.parametrize(("name", "options"), CASES, ids=[name for name, _ in CASES])
def test_bytes(name, options):
    made = convert((SAMPLES / f"{name}.mid").read_bytes(), options).files[0].data
    golden = HERE / f"{name}.{options.encoding}.mid"
    if os.environ.get("RETUNE_UPDATE"):
        golden.write_bytes(made)
    expected = golden.read_bytes()
    if made == expected:
        return
    for ours, theirs in zip_longest(events(made), events(expected)):
        assert alike(ours, theirs), f"{ours} instead of {theirs}"


def events(data: bytes) -> list[tuple[int, mido.Message]]:
    return [
        (number, m) for number, track in enumerate(mido.MidiFile(file=io.BytesIO(data)).tracks) for m in track
    ]


def alike(ours, theirs) -> bool:
    if ours is None or theirs is None or ours[0] != theirs[0]:
        return False
    if ours[1].type == theirs[1].type == "pitchwheel":
        near = abs(ours[1].pitch - theirs[1].pitch) <= 1
        return near and ours[1].copy(pitch=0) == theirs[1].copy(pitch=0)
    return ours[1] == theirs[1]


def test_a_changed_note_is_noticed():
    data = (HERE / "evening_hymn.bend.mid").read_bytes()
    changed = mido.MidiFile(file=io.BytesIO(data))
    note = next(m for m in changed.tracks[1] if m.type == "note_on")
    note.note += 1
    out = io.BytesIO()
    changed.save(file=out)
    assert not all(alike(a, b) for a, b in zip_longest(events(out.getvalue()), events(data)))


def test_the_same_input_and_options_give_the_same_bytes():
    data = (SAMPLES / "pop_loop.mid").read_bytes()
    assert convert(data, Options()).files[0].data == convert(data, Options()).files[0].data

"""Most memory held during a conversion against mido's reading and writing of the same file."""

import sys

import pytest

from tests.benchmarks.measure import told
from tests.benchmarks.music import generated

if sys.platform == "win32":
    pytest.skip("no memory figures of children", allow_module_level=True)

from tests.benchmarks.processes import memory_of

pytestmark = pytest.mark.benchmark

MIDO = "import sys, mido; mido.MidiFile(sys.argv[1]).save(sys.argv[2])"
OURS = "import sys; from retune.cli.main import main; main(['convert', sys.argv[1], '-o', sys.argv[2], '-q'])"


def test_memory(say, tmp_path):
    source = tmp_path / "in.mid"
    source.write_bytes(generated(100_000))
    target = str(tmp_path / "out.mid")
    ours, theirs = (memory_of(code, str(source), target) for code in (OURS, MIDO))
    say(told(f"memory, 100 000 notes ({ours / 2**20:.0f} MB)", ours / theirs, 3))

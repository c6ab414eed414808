"""Whole processes: a conversion against a copy by mido, `--version` against `import click`."""

import sys

import pytest

from tests.benchmarks.measure import told
from tests.benchmarks.music import chorale

if sys.platform == "win32":
    pytest.skip("no processor times of children", allow_module_level=True)

from tests.benchmarks.processes import best_of_commands

pytestmark = pytest.mark.benchmark


def test_convert(say, tmp_path):
    (tmp_path / "in.mid").write_bytes(chorale())
    source, target = str(tmp_path / "in.mid"), str(tmp_path / "out.mid")
    copy = "import sys, mido; mido.MidiFile(sys.argv[1]).save(sys.argv[2])"
    best = best_of_commands(
        {
            "mido": ["-c", copy, source, target],
            "numpy": ["-c", "import numpy"],
            "ours": ["-m", "retune", "convert", source, "-o", target, "--quiet"],
        },
        tmp_path,
    )
    say(told(f"retune convert, chorale ({1000 * best['ours']:.0f} ms)", best["ours"] / best["mido"], 5))
    say(told("import numpy alone", best["numpy"] / best["mido"], what="times mido's copy"))


def test_version(say, tmp_path):
    best = best_of_commands(
        {"click": ["-c", "import click"], "ours": ["-m", "retune", "--version"]}, tmp_path, rounds=12
    )
    say(told(f"retune --version ({1000 * best['ours']:.0f} ms)", best["ours"] / best["click"], 1.5))

"""Standard streams as they may be: closed, full, or in an encoding of long ago; and the end asked for by a signal."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.run import HYMN, ROOT, SAMPLES

RETUNE = [sys.executable, "-m", "retune"]
FLATS = str(SAMPLES / "close_harmony_tag.mid")  # its chords are spelled with ♭
posix = pytest.mark.skipif(sys.platform == "win32", reason="POSIX shells and devices")


def shell(line: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        ["sh", "-c", line, "sh", *RETUNE, FLATS],
        capture_output=True,
        env={**os.environ, **environment},
        timeout=60,
        check=False,
    )


def test_an_encoding_without_flats_shows_their_codes():
    done = shell('"$1" $2 $3 analyze "$4"', PYTHONIOENCODING="latin-1")
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"B\\u266d" in done.stdout


@posix
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full")
@pytest.mark.parametrize("command", ['analyze "$4"', 'analyze --json "$4"', 'convert "$4" -o -'])
def test_a_full_disk_behind_stdout_is_one_line(command):
    done = shell(f'"$1" $2 $3 {command} > /dev/full')
    assert (done.returncode, done.stderr.count(b"\n")) == (2, 1)
    assert b"retune: standard output: cannot be " in done.stderr
    assert b"no space left on device" in done.stderr


@posix
@pytest.mark.parametrize(
    ("command", "said"),
    [
        ("convert - -o /dev/null <&-", b"retune: standard input: it is closed"),
        ('convert "$4" -o - >&-', b"retune: standard output: it is closed"),
        ('analyze "$4.none" 2>&-', b""),
    ],
)
def test_closed_streams(command, said):
    done = shell(f'"$1" $2 $3 {command}')
    assert (done.returncode, done.stdout) == (2, b"")
    assert done.stderr.startswith(said)
    assert done.stderr.count(b"\n") == bool(said)


def _stopped_by(number: signal.Signals, child: subprocess.Popen[bytes]) -> int:
    """Exit status after a signal, sent again after a while as a person would press the keys again.

    One that comes in the instant before a program blocks in a read is noticed only after that read.
    """
    for _ in range(5):
        child.send_signal(number)
        with contextlib.suppress(subprocess.TimeoutExpired):
            return child.wait(10)
    raise AssertionError("no signal ends it")


@posix
@pytest.mark.parametrize(
    ("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 143), (signal.SIGHUP, 129)]
)
def test_a_signal_ends_it_with_one_line(number, status, tmp_path):
    """128 + the number of the signal (common practice, no source)."""
    pipe = tmp_path / "slow.mid"
    os.mkfifo(pipe)
    child = subprocess.Popen([*RETUNE, "convert", pipe, "-o", tmp_path / "out.mid"], stderr=subprocess.PIPE)
    with child, pipe.open("wb") as feed:  # opens when the child has opened it: it is inside its work then
        feed.write(Path(HYMN).read_bytes()[:100])
        feed.flush()
        assert _stopped_by(number, child) == status
        assert child.stderr is not None
        assert child.stderr.read() == b"retune: stopped\n"
    assert [found.name for found in tmp_path.iterdir()] == ["slow.mid"]


@posix
def test_an_interrupt_while_the_program_is_being_loaded_ends_it_without_a_trace(tmp_path):
    (tmp_path / "click.py").write_text("import time\nprint('loading', flush=True)\ntime.sleep(30)\n")
    path = os.pathsep.join([str(tmp_path), str(ROOT)])
    child = subprocess.Popen(
        [sys.executable, "-P", "-m", "retune", "--help"],
        env={**os.environ, "PYTHONPATH": path},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    with child:
        assert child.stdout is not None
        assert child.stdout.readline() == b"loading\n"
        child.send_signal(signal.SIGINT)
        assert child.communicate(timeout=20)[1] == b""
        assert child.returncode == -signal.SIGINT


@posix
def test_a_stopped_batch_says_how_far_it_came(tmp_path):
    music, out = tmp_path / "music", tmp_path / "out"
    music.mkdir()
    for number in range(60):
        (music / f"{number}.mid").write_bytes(Path(HYMN).read_bytes())
    command = [*RETUNE, "convert", music, "--out-dir", out, "--jobs", "1"]
    with subprocess.Popen(command, stderr=subprocess.PIPE) as child:
        deadline = time.monotonic() + 60
        while len(list(out.glob("*.mid"))) < 3 and time.monotonic() < deadline:
            time.sleep(0.01)
        assert _stopped_by(signal.SIGINT, child) == 130
        assert child.stderr is not None
        first, last = child.stderr.read().splitlines()
    done = re.fullmatch(rb"retune: (\d+) of 60 files done; the same call goes on from there", first)
    assert done
    assert 2 <= int(done[1]) <= len(list(out.glob("*.mid"))) < 60
    assert last == b"retune: stopped"

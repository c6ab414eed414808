"""Files that several runs add lines to; the other runs are real processes."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from retune.batch.lines import LineFile
from retune.errors import OutputError

needs_locks = pytest.mark.skipif(sys.platform == "win32", reason="no locks of this kind")

HOLD = """
    import sys
    from retune.batch.lines import LineFile
    with LineFile(sys.argv[1], alone=sys.argv[2] == "alone") as file:
        file.add(b"theirs\\n")
        print("ready", flush=True)
        sys.stdin.read()
"""


def other_run(path: Path, how: str = "shared") -> subprocess.Popen[bytes]:
    """A process that holds the file open until its standard input is closed."""
    command = [sys.executable, "-c", textwrap.dedent(HOLD), str(path), how]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert process.stdout is not None
    assert process.stdout.readline() == b"ready\n"
    return process


def end(process: subprocess.Popen[bytes]) -> None:
    process.communicate(timeout=30)


def last_line(content: bytes) -> bytes:
    return content.splitlines(keepends=True)[-1]


def test_a_torn_line_is_ended_before_the_next_begins(tmp_path):
    path = tmp_path / "rows"
    path.write_bytes(b"whole\ntor")
    with LineFile(path) as file:
        file.add(b"next\n")
    assert path.read_bytes() == b"whole\ntor\nnext\n"


@needs_locks
def test_nothing_is_tidied_under_the_hands_of_another_run(tmp_path):
    path = tmp_path / "rows"
    other = other_run(path)
    with LineFile(path) as file:
        file.add(b"ours\n")
        file.tidy(last_line)
    assert path.read_bytes() == b"theirs\nours\n"
    end(other)
    with LineFile(path) as file:
        file.tidy(last_line)
    assert path.read_bytes() == b"ours\n"


@needs_locks
def test_a_run_that_opens_a_file_which_is_being_replaced_gets_the_new_one(tmp_path):
    path = tmp_path / "rows"
    path.write_bytes(b"1\n2\n")
    started = []

    def slowly(content: bytes) -> bytes:
        started.append(subprocess.Popen([sys.executable, "-c", ADD, str(path)], stdout=subprocess.PIPE))
        assert started[0].stdout.readline() == b"about to open\n"
        return b"1\n"

    with LineFile(path) as file:
        file.tidy(slowly)
    started[0].communicate(timeout=30)
    assert started[0].returncode == 0
    assert path.read_bytes() == b"1\n3\n"


ADD = """
import sys
from retune.batch.lines import LineFile
print("about to open", flush=True)
with LineFile(sys.argv[1]) as file:
    file.add(b"3\\n")
"""


@needs_locks
def test_a_run_that_was_killed_leaves_no_lock(tmp_path):
    path = tmp_path / "rows"
    other = other_run(path, "alone")
    with pytest.raises(OutputError, match="rows: another run is writing to this file; name another one"):
        LineFile(path, alone=True)
    os.kill(other.pid, signal.SIGKILL)
    end(other)
    with LineFile(path, alone=True) as file:
        file.clear()
    assert path.read_bytes() == b""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_disk_is_told_in_one_line():
    with LineFile("/dev/full", alone=True) as file, LineFile("/dev/full", alone=True):
        file.clear()
        with pytest.raises(
            OutputError, match=r"/dev/full: cannot be written .no space left on device.; free"
        ):
            file.add(b"row\n")


def test_a_place_where_nothing_can_be_written(tmp_path):
    with pytest.raises(OutputError, match="cannot be written"):
        LineFile(tmp_path / "nowhere" / "rows")

"""The file edge: clear lines for what cannot be read, and outputs that are whole or not there."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import stat
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from retune import files
from retune.errors import InputError, OutputError


def run(script: str, *args: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(script), *args],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


class TestReading:
    def test_bytes_of_a_file(self, tmp_path: Path) -> None:
        (tmp_path / "a.mid").write_bytes(b"MThd\x00\xff")
        assert files.read_input(tmp_path / "a.mid") == b"MThd\x00\xff"

    def test_dash_is_standard_input(self) -> None:
        child = run(
            "import sys; from retune.files import read_input; sys.stdout.buffer.write(read_input('-')[::-1])"
        )
        assert child.communicate(b"MT\x00\xff")[0] == b"\xff\x00TM"

    def test_missing_file(self, tmp_path: Path) -> None:
        with pytest.raises(InputError, match=r"none\.mid: no such file"):
            files.read_input(tmp_path / "none.mid")

    def test_folder(self, tmp_path: Path) -> None:
        with pytest.raises(InputError, match="this is a folder"):
            files.read_input(tmp_path)

    def test_no_permission(self, plain_folder: Path) -> None:
        (plain_folder / "a.mid").write_bytes(b"x")
        (plain_folder / "a.mid").chmod(0)
        with pytest.raises(InputError, match="no permission"):
            files.read_input(plain_folder / "a.mid")

    def test_path_through_a_file(self, tmp_path: Path) -> None:
        (tmp_path / "a").write_bytes(b"x")
        with pytest.raises(InputError, match="not a directory"):
            files.read_input(tmp_path / "a" / "b.mid")

    def test_name_with_a_zero_byte(self) -> None:
        with pytest.raises(InputError, match="cannot be read"):
            files.read_input("a\0.mid")

    def test_size_limit(self, tmp_path: Path) -> None:
        with open(tmp_path / "big.mid", "wb") as file:
            file.truncate(files.MOST_INPUT_BYTES + 1)  # sparse: takes no disk space
        with pytest.raises(InputError, match="more than 256 MB"):
            files.read_input(tmp_path / "big.mid")


class TestWriting:
    def test_new_file_has_the_usual_rights(self, tmp_path: Path) -> None:
        files.write_atomically(tmp_path / "new.mid", b"new")
        (tmp_path / "plain").touch()
        assert (tmp_path / "new.mid").read_bytes() == b"new"
        assert (tmp_path / "new.mid").stat().st_mode == (tmp_path / "plain").stat().st_mode

    def test_existing_file_is_replaced_and_keeps_its_rights(self, tmp_path: Path) -> None:
        target = tmp_path / "a.mid"
        target.write_bytes(b"old")
        target.chmod(0o640)
        files.write_atomically(target, b"new")
        assert target.read_bytes() == b"new"
        assert stat.S_IMODE(target.stat().st_mode) == 0o640
        assert os.listdir(tmp_path) == ["a.mid"]

    def test_another_name_of_the_old_file_keeps_the_old_content(self, tmp_path: Path) -> None:
        target = tmp_path / "a.mid"
        target.write_bytes(b"old")
        os.link(target, tmp_path / "kept.mid")
        files.write_atomically(target, b"new")
        assert (tmp_path / "kept.mid").read_bytes() == b"old"

    def test_link_is_followed(self, tmp_path: Path) -> None:
        (tmp_path / "real.mid").write_bytes(b"old")
        (tmp_path / "link.mid").symlink_to(tmp_path / "real.mid")
        files.write_atomically(tmp_path / "link.mid", b"new")
        assert (tmp_path / "link.mid").is_symlink()
        assert (tmp_path / "real.mid").read_bytes() == b"new"

    def test_device_is_written_to_and_stays(self) -> None:
        files.write_atomically(os.devnull, b"gone")
        assert stat.S_ISCHR(os.stat(os.devnull).st_mode)

    def test_folder(self, tmp_path: Path) -> None:
        with pytest.raises(OutputError, match="this is a folder"):
            files.write_atomically(tmp_path, b"x")

    def test_missing_folder(self, tmp_path: Path) -> None:
        with pytest.raises(OutputError, match="does not exist; create it first"):
            files.write_atomically(tmp_path / "none" / "a.mid", b"x")
        assert os.listdir(tmp_path) == []

    def test_no_permission(self, plain_folder: Path) -> None:
        plain_folder.chmod(0o500)
        with pytest.raises(OutputError, match="check the rights"):
            files.write_atomically(plain_folder / "a.mid", b"x")
        plain_folder.chmod(0o700)

    def test_read_only_file_system(self, tmp_path: Path) -> None:
        """Told before any work is done, and not as a question of rights."""
        mount = 'mount -t tmpfs -o ro none "$1" && exec "$2" -c "$3" "$1/a.mid"'
        check = "import sys; from retune.files import check_target; check_target(sys.argv[1])"
        if (
            shutil.which("unshare") is None
            or subprocess.run(["unshare", "-rm", "true"], check=False).returncode
        ):
            pytest.skip("no mounts of one's own here")
        command = ["unshare", "-rm", "sh", "-c", mount, "sh", str(tmp_path), sys.executable, check]
        done = subprocess.run(command, check=False, capture_output=True, text=True)
        assert done.stderr.endswith("cannot be written (read-only file system); choose another disk\n")

    def test_name_too_long(self, tmp_path: Path) -> None:
        with pytest.raises(OutputError, match="cannot be written"):
            files.write_atomically(tmp_path / ("a" * 300), b"x")
        assert os.listdir(tmp_path) == []

    def test_dash_is_standard_output(self) -> None:
        child = run("from retune.files import write_output; write_output('-', b'MT\\x00\\xff')")
        assert child.communicate()[0] == b"MT\x00\xff"

    def test_closed_standard_output(self) -> None:
        script = """
            import os, sys
            from retune.errors import OutputError
            from retune.files import write_output
            read, write = os.pipe(); os.close(read); os.dup2(write, 1)
            try:
                write_output("-", b"x" * 100000)
            except OutputError as error:
                sys.stderr.write(str(error)); sys.stderr.flush(); os._exit(0)
        """
        assert b"standard output: cannot be written" in run(script).communicate()[1]


SLOW_WRITER = """
    import os, sys, time
    from retune import files
    def slow_sync(handle):
        print("writing", flush=True)
        time.sleep(30)
    os.fsync = slow_sync
    files.write_atomically(sys.argv[1], b"new" * 1000)
"""
"""A program that says when it is inside the sync to disk, and stays there."""


class TestEndedEarly:
    """Whatever ends the writing early, the old file is whole and nothing else is left behind."""

    def test_disk_full(self, tmp_path: Path) -> None:
        """A file size limit stands in for a full disk: the write fails after the first part."""
        (tmp_path / "a.mid").write_bytes(b"old")
        soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))
        try:
            with pytest.raises(OutputError, match=r"a\.mid: cannot be written \(file too large\)"):
                files.write_atomically(tmp_path / "a.mid", b"x" * 100_000)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
            signal.signal(signal.SIGXFSZ, ignored)
        assert os.listdir(tmp_path) == ["a.mid"]
        assert (tmp_path / "a.mid").read_bytes() == b"old"

    @pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
    def test_signal(self, tmp_path: Path, number: signal.Signals) -> None:
        """The child is stopped inside the sync to disk, where a real program spends its time."""
        (tmp_path / "a.mid").write_bytes(b"old")
        child = run(SLOW_WRITER, str(tmp_path / "a.mid"))
        assert child.stdout is not None
        assert child.stdout.readline() == b"writing\n"
        assert len(os.listdir(tmp_path)) == 2
        child.send_signal(number)
        child.communicate(timeout=20)
        assert child.returncode != 0
        assert os.listdir(tmp_path) == ["a.mid"]
        assert (tmp_path / "a.mid").read_bytes() == b"old"

    @pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
    def test_a_signal_waits_until_files_that_belong_together_are_there(
        self, tmp_path: Path, number: signal.Signals
    ) -> None:
        """Beside a thread, such as that of a progress bar, to which the system may hand the signal."""
        script = """
            import os, sys, threading, time
            from retune import files
            threading.Thread(target=time.sleep, args=(60,), daemon=True).start()
            replace = os.replace
            def slow_replace(*args):
                replace(*args)
                print("one is there", flush=True)
                time.sleep(1)
            os.replace = slow_replace
            files.write_together([(sys.argv[1], b"1"), (sys.argv[2], b"2")])
            print("not reached")
        """
        child = run(script, str(tmp_path / "a.mid"), str(tmp_path / "b.mid"))
        assert child.stdout is not None
        assert child.stdout.readline() == b"one is there\n"
        child.send_signal(number)
        out, _ = child.communicate(timeout=20)
        assert out == b"one is there\n"
        assert child.returncode != 0
        assert sorted(os.listdir(tmp_path)) == ["a.mid", "b.mid"]

    def test_a_file_left_by_a_killed_writer_is_removed_and_no_other(self, tmp_path: Path) -> None:
        (tmp_path / ".retune-mine").touch()
        (tmp_path / "x.tmp").touch()
        children = [run(SLOW_WRITER, str(tmp_path / name)) for name in ("a.mid", "b.mid")]
        for child in children:
            assert child.stdout is not None
            assert child.stdout.readline() == b"writing\n"
        children[0].kill()
        children[0].communicate(timeout=20)
        assert len(os.listdir(tmp_path)) == 4
        files.remove_abandoned([tmp_path, tmp_path / "none"])
        assert len(os.listdir(tmp_path)) == 3  # what is being written is left alone
        children[1].kill()
        children[1].communicate(timeout=20)
        files.remove_abandoned([tmp_path])
        assert sorted(os.listdir(tmp_path)) == [".retune-mine", "x.tmp"]

    def test_signal_handling_is_as_before_afterwards(self, tmp_path: Path) -> None:
        before = signal.getsignal(signal.SIGTERM)
        files.write_atomically(tmp_path / "a.mid", b"x")
        assert signal.getsignal(signal.SIGTERM) is before


class TestSameFile:
    def test_by_another_path(self, tmp_path: Path) -> None:
        (tmp_path / "a.mid").touch()
        (tmp_path / "x").mkdir()
        with pytest.raises(OutputError, match="the input file itself"):
            files.refuse_same_file(tmp_path / "a.mid", tmp_path / "x" / ".." / "." / "a.mid")

    def test_by_hard_link(self, tmp_path: Path) -> None:
        (tmp_path / "a.mid").touch()
        os.link(tmp_path / "a.mid", tmp_path / "b.mid")
        with pytest.raises(OutputError, match="the input file itself"):
            files.refuse_same_file(tmp_path / "a.mid", tmp_path / "b.mid")

    def test_by_symbolic_link(self, tmp_path: Path) -> None:
        (tmp_path / "a.mid").touch()
        (tmp_path / "b.mid").symlink_to("a.mid")
        with pytest.raises(OutputError, match="the input file itself"):
            files.refuse_same_file(tmp_path / "b.mid", tmp_path / "a.mid")

    def test_different_files_and_streams_pass(self, tmp_path: Path) -> None:
        (tmp_path / "a.mid").touch()
        (tmp_path / "b.mid").touch()
        files.refuse_same_file(tmp_path / "a.mid", tmp_path / "b.mid")
        files.refuse_same_file(tmp_path / "a.mid", tmp_path / "new.mid")
        files.refuse_same_file("-", "-")

"""Batches with real files and real processes."""

import json
import os
import signal
import subprocess
import sys
import time
from math import inf
from pathlib import Path

import pytest

from retune.batch import Job, find_jobs, run_batch
from retune.batch.manifest import STATE_NAME, read_rows
from retune.batch.run import available_cores, worthwhile_processes
from retune.errors import OptionError
from retune.options import Options
from retune.pipeline import convert
from retune.settings import with_temperament_files
from tests.batch.build import crowded, piece


def batch(music: Path, out: Path, **more):
    return run_batch(find_jobs([str(music)], str(out)), str(out), Options(), **more)


def tree(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*.mid"))}


def test_every_file_becomes_what_a_single_conversion_makes_of_it(music, tmp_path):
    out = tmp_path / "out"
    result = batch(music, out, processes=1)
    assert result.counts == {"converted": 6}
    for source, data in tree(music).items():
        if not source.startswith("."):
            assert (out / source).read_bytes() == convert(data).files[0].data


def test_the_same_bytes_at_any_number_of_processes(music, tmp_path):
    batch(music, tmp_path / "one", processes=1)
    batch(music, tmp_path / "two", processes=2)
    assert tree(tmp_path / "one") == tree(tmp_path / "two")
    assert len(tree(tmp_path / "one")) == 6


def test_more_processes_only_where_there_is_work_for_them(music):
    jobs = find_jobs([str(music)], "out")
    cores = available_cores()
    assert worthwhile_processes(jobs) == 1
    assert worthwhile_processes(jobs * 1000) == cores
    large = music / "large.mid"
    large.write_bytes(bytes(50_000_000))
    assert worthwhile_processes([*jobs[:1], *find_jobs([str(large)], "out")]) == min(2, cores)
    assert worthwhile_processes([Job(str(music / "gone.mid"), "out.mid")] * 2) == 1


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks for processes in /proc")
def test_a_thousand_jobs_are_not_a_thousand_processes(tmp_path):
    """Told by the processes of a run, which would take 40 MB each."""
    music, out = tmp_path / "music", tmp_path / "out"
    many(music)
    running = started(tmp_path, music, out, processes=1000, results=1)
    assert 1 < len(alive_in(running.pid)) <= 1 + 4 * available_cores()
    running.terminate()
    running.communicate(timeout=60)


@pytest.mark.parametrize("processes", [1, 2])
def test_a_failing_file_never_stops_the_rest(music, tmp_path, processes):
    (music / "songs" / "piece 3.mid").write_bytes(b"this is no music")
    (music / "songs" / "piece 5.mid").write_bytes(piece(5)[:-9])  # cut short: can be mended
    result = batch(music, tmp_path / "out", processes=processes)
    assert result.counts == {"converted": 4, "mended": 1, "refused": 1}
    assert result.refused[0].source.endswith("piece 3.mid")
    assert "piece 3.mid" in result.refused[0].reason
    assert not (tmp_path / "out" / "songs" / "piece 3.mid").exists()


def test_what_is_up_to_date_is_left_alone(music, tmp_path):
    out = tmp_path / "out"
    batch(music, out, processes=1)
    stamp = (out / "songs" / "piece 1.mid").stat().st_mtime_ns
    (music / "songs" / "piece 3.mid").write_bytes(piece(8))  # a changed input
    (out / "songs" / "piece 5.mid").write_bytes(b"spoilt")  # a spoilt output
    (out / "hymns" / "old" / "piece 0.mid").unlink()  # a missing output
    again = batch(music, out, processes=1)
    assert again.counts == {"up to date": 3, "converted": 3}
    assert (out / "songs" / "piece 1.mid").stat().st_mtime_ns == stamp
    assert batch(music, out, processes=1).counts == {"up to date": 6}
    assert batch(music, out, processes=1, force=True).counts == {"converted": 6}
    other = run_batch(find_jobs([str(music)], str(out)), str(out), Options(prime_limit=7), processes=1)
    assert other.counts == {"converted": 6}


def test_a_file_that_is_up_to_date_elsewhere_is_not_up_to_date_here(music, tmp_path):
    """The same input, but its result has another place in the output folder now."""
    out = tmp_path / "out"
    batch(music, out, processes=1)
    again = run_batch(find_jobs([str(music / "songs")], str(out)), str(out), Options(), processes=1)
    assert again.counts == {"converted": 3}
    assert (out / "piece 1.mid").read_bytes() == (out / "songs" / "piece 1.mid").read_bytes()


def test_a_temperament_file_counts_by_what_it_says(music, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    named = Options(fixed=("voice 0=organ.toml",))
    jobs = find_jobs([str(music)], "out")
    counts = []
    for offset in (0, 0, 3):
        Path("organ.toml").write_text(f"offsets = [{offset}, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]\n")
        counts.append(run_batch(jobs, "out", with_temperament_files(named), processes=1).counts)
    assert counts == [{"converted": 6}, {"up to date": 6}, {"converted": 6}]


def test_a_changed_plan_is_done_again(music, tmp_path):
    jobs = find_jobs([str(music / "songs")], str(tmp_path / "out"))
    plans = ["", *(f'windows = [{{at = "1.1", root = "{root}", chord = "maj"}}]' for root in "CCFF"), ""]
    counts = [
        run_batch(jobs, str(tmp_path / "out"), Options(), plan_text=plan, processes=1).counts
        for plan in plans
    ]
    again = {"converted": 3}
    assert counts == [again, again, {"up to date": 3}, again, {"up to date": 3}, again]


def test_a_file_of_a_part_named_like_another_result_is_refused_alone(tmp_path):
    """Forty notes at once on forty tunings need a file a part, and the second part has the name of another input."""
    crowd = crowded()
    music = tmp_path / "music"
    music.mkdir()
    (music / "a.mid").write_bytes(crowd)
    written = convert(crowd, Options(when_full="files")).files
    assert len(written) > 1
    (music / f"a{written[1].suffix}.mid").write_bytes(piece(1))
    out = tmp_path / "out"
    result = run_batch(find_jobs([str(music)], str(out)), str(out), Options(when_full="files"), processes=1)
    assert [row.source for row in result.refused] == [str(music / "a.mid")]
    assert "as another input does; rename one" in result.refused[0].reason
    assert len(tree(out)) == 1


def test_results_must_be_named_for_the_encoding(music, tmp_path):
    jobs = find_jobs([str(music)], str(tmp_path / "out"))
    with pytest.raises(OptionError, match="not named for midi2; tell it to find_jobs"):
        run_batch(jobs, str(tmp_path / "out"), Options(encoding="midi2"))


def test_the_manifest_has_a_row_a_file(music, tmp_path):
    manifest = tmp_path / "rows.jsonl"
    batch(music, tmp_path / "out", processes=2, manifest=str(manifest))
    rows = [json.loads(line) for line in manifest.read_text().splitlines()]
    assert len(rows) == 6
    for row in rows:
        assert row["format"] == 1
        assert row["status"] == "converted"
        assert row["figures"]["share_within_1_cent"] > 0.9
        assert len(row["input_sha256"]) == 64
        assert row["seconds"] > 0
        assert set(row["output_sha256"]) == {row["target"]}
        assert row["options"]["drift_limit_cents"] == 15.0


def test_the_manifest_tells_the_options_as_obeyed(music, tmp_path):
    """Of a refused file, too; a limit that is none is told as JSON can say it."""
    manifest = tmp_path / "rows.jsonl"
    (music / "songs" / "piece 3.mid").write_bytes(b"this is no music")
    options = Options(drift_limit_cents=inf, fixed=("program:126-127",))  # a part that no piece has
    run_batch(
        find_jobs([str(music / "songs")], str(tmp_path / "out")),
        str(tmp_path / "out"),
        options,
        processes=1,
        manifest=str(manifest),
    )
    rows = [json.loads(line) for line in manifest.read_text().splitlines()]
    assert [row["options"]["drift_limit_cents"] for row in rows] == ["none"] * 3
    assert {row["status"]: row["options"]["fixed"] for row in rows} == {
        "converted": [],
        "refused": ["program:126-127"],
    }


def test_what_a_killed_run_left_half_written_is_removed(music, tmp_path):
    out = tmp_path / "out"
    (out / "songs").mkdir(parents=True)
    for left in (out / ".retune-0123456789abcdef.tmp", out / "songs" / ".retune-0123456789abcdef.tmp"):
        left.write_bytes(piece(1)[:50])
    (out / "songs" / "notes.tmp").touch()  # not ours
    batch(music, out, processes=1)
    assert [path.name for path in out.rglob("*.tmp")] == ["notes.tmp"]


def test_a_torn_line_of_an_interrupted_run_is_done_again(music, tmp_path):
    out = tmp_path / "out"
    batch(music, out, processes=1)
    state = out / STATE_NAME
    state.write_text(state.read_text()[:-40])
    assert batch(music, out, processes=1).counts == {"up to date": 5, "converted": 1}
    assert len(read_rows(state)) == 6


def started(
    tmp_path: Path, music: Path, out: Path, processes: int = 2, results: int = 10
) -> subprocess.Popen[bytes]:
    """A batch of some processes, running by itself, that has written its first results."""
    script = tmp_path / "run.py"  # without `if __name__ == "__main__"`, as people write them
    script.write_text(
        "from retune.batch import find_jobs, run_batch; from retune.options import Options\n"
        f"run_batch(find_jobs([{str(music)!r}], {str(out)!r}), {str(out)!r}, Options(), processes={processes})\n"
    )
    running = subprocess.Popen([sys.executable, str(script)], stderr=subprocess.PIPE, start_new_session=True)
    wait_for(out, results)  # ten are more than are handed out together, so that some rows are there
    return running


def wait_for(out: Path, results: int) -> int:
    """Wait until there are so many results; returns how many."""
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and len(list(out.glob("*.mid"))) < results:
        time.sleep(0.01)
    return len(list(out.glob("*.mid")))


def many(music: Path) -> None:
    music.mkdir()
    for i in range(FILES):
        (music / f"{i:03}.mid").write_bytes(piece(i))


FILES = 100  # long enough to be interrupted on any machine


def alive_in(session: int) -> list[str]:
    """Command lines of the processes of a session that run still (Linux: /proc)."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            fields = (folder / "stat").read_text().rpartition(")")[2].split()
            if int(fields[3]) == session and fields[0] not in "ZX":
                found.append((folder / "cmdline").read_text().replace("\0", " "))
        except OSError:
            continue
    return found


def nothing_left_of(session: int) -> bool:
    deadline = time.monotonic() + 30
    while alive_in(session) and time.monotonic() < deadline:
        time.sleep(0.02)
    return not alive_in(session)


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks for processes in /proc")
@pytest.mark.parametrize(
    ("numbers", "to_all"),
    [
        ((signal.SIGINT,), True),  # as a terminal does: every process of the run gets it
        ((signal.SIGINT, signal.SIGINT), True),  # by someone who cannot wait
        ((signal.SIGTERM,), False),
        ((signal.SIGHUP,), True),  # the terminal is closed
        ((signal.SIGKILL,), False),
        ((signal.SIGKILL,), True),
    ],
)
def test_a_run_that_is_ended_leaves_no_process_and_nothing_half_written(tmp_path, numbers, to_all):
    music, out = tmp_path / "music", tmp_path / "out"
    many(music)
    running = started(tmp_path, music, out)
    assert len(alive_in(running.pid)) == 3
    for number in numbers:
        (os.killpg if to_all else os.kill)(running.pid, number)
    _, said = running.communicate(timeout=60)
    assert running.returncode != 0
    assert nothing_left_of(running.pid)
    assert b"worker" not in said  # no trace of theirs
    assert b"Fatal" not in said
    done = len(list(out.glob("*.mid")))
    assert 3 <= done < FILES
    if signal.SIGKILL not in numbers:
        assert not list(out.rglob("*.tmp"))
    counts = batch(music, out, processes=2).counts
    assert counts["up to date"] + counts["converted"] == FILES, counts
    assert counts["up to date"] >= 1
    assert not list(out.rglob("*.tmp"))
    assert tree(out)["000.mid"] == convert((music / "000.mid").read_bytes()).files[0].data


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks for processes in /proc")
def test_a_worker_that_is_killed_is_replaced(tmp_path):
    music, out = tmp_path / "music", tmp_path / "out"
    many(music)
    running = started(tmp_path, music, out)
    worker = next(
        int(folder.name)
        for folder in Path("/proc").glob("[0-9]*")
        if int((folder / "stat").read_text().rpartition(")")[2].split()[1]) == running.pid
    )
    os.kill(worker, signal.SIGKILL)
    assert running.communicate(timeout=60)[1] == b""
    assert running.returncode == 0
    assert len(tree(out)) == FILES


@pytest.mark.skipif(sys.platform == "win32", reason="no locks of this kind")
def test_a_run_keeps_the_rows_of_another_that_is_killed(tmp_path):
    """Two runs, one output folder: the second ends while the first works; then the first is killed."""
    music, out, other = tmp_path / "music", tmp_path / "out", tmp_path / "other"
    many(music)
    other.mkdir()
    (other / "other.mid").write_bytes(piece(1))
    running = started(tmp_path, music, out)
    for _ in range(2):  # rows of the same file twice: there is something to tidy
        assert batch(other, out, processes=1, force=True).counts == {"converted": 1}
    done = wait_for(out, len(list(out.glob("*.mid"))) + 20)
    os.killpg(running.pid, signal.SIGKILL)
    running.communicate(timeout=60)
    remembered = read_rows(out / STATE_NAME)
    assert (
        len(remembered) >= done - 12
    )  # each of two processes may have written a portion and more whose rows were not yet
    counts = batch(music, out, processes=2).counts
    assert counts["up to date"] == len(remembered) - 1
    assert counts["up to date"] + counts["converted"] == FILES
    assert set(read_rows(out / STATE_NAME)) == {
        row.source for row in find_jobs([str(music), str(other)], str(out))
    }

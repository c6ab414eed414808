"""Many small files: what one costs beside its conversion, and what a second process gains."""

from __future__ import annotations

import resource
import shutil
import subprocess
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import pytest

from retune.batch import find_jobs, run_batch
from retune.batch.local import run_local
from retune.batch.run import available_cores
from retune.batch.work import Task
from retune.files import write_atomically
from retune.options import Options
from retune.pipeline import convert
from tests.batch.build import piece
from tests.benchmarks.measure import told

pytestmark = pytest.mark.benchmark
FILES = 500


@pytest.fixture
def folder(tmp_path):
    music = tmp_path / "music"
    music.mkdir()
    for i in range(FILES):
        (music / f"{i:03}.mid").write_bytes(piece(i))
    return music


def _batch(folder, processes: int) -> float:
    """Seconds of a batch, by the clock."""
    out = folder.parent / f"out {processes}"
    shutil.rmtree(out, ignore_errors=True)
    began = time.perf_counter()
    result = run_batch(find_jobs([str(folder)], str(out)), str(out), Options(), processes=processes)
    assert result.counts == {"converted": FILES}
    return time.perf_counter() - began


def _command(folder, processes: int) -> float:
    """Seconds of the command, by the clock: what a user waits."""
    out = folder.parent / f"out {processes}"
    shutil.rmtree(out, ignore_errors=True)
    words = ["convert", folder, "--out-dir", out, "--jobs", processes, "--quiet"]
    began = time.perf_counter()
    subprocess.run([sys.executable, "-m", "retune", *map(str, words)], check=True)
    return time.perf_counter() - began


def _bare(datas: list[bytes], processes: int) -> float:
    """Seconds by the clock of the same conversions, shared out evenly, with nothing read, written or told."""
    shares = [datas[i::processes] for i in range(processes)]
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        list(pool.map(_convert_all, [share[:2] for share in shares]))
        began = time.perf_counter()
        list(pool.map(_convert_all, shares))
        return time.perf_counter() - began


def _convert_all(datas: list[bytes]) -> None:
    for data in datas:
        convert(data)


def processor_seconds(tasks: Sequence[Task], processes: int) -> float:
    """Processor time of some tasks, in this process and those it starts."""
    began = _spent()
    assert all(row.ok for row in run_local(tasks, processes))
    return _spent() - began


def _spent() -> float:
    spent = [resource.getrusage(whose) for whose in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(usage.ru_utime + usage.ru_stime for usage in spent)


def test_two_processes(folder, say):
    """By the clock, which tells only on a machine that is idle; and in processor time, which tells anywhere."""
    if available_cores() < 2:
        pytest.skip("one core only")
    rounds = [(_command(folder, 1), _command(folder, 2)) for _ in range(3)]
    one, two = (min(column) for column in zip(*rounds, strict=True))
    say(
        told(
            f"batch of {FILES}, two processes against one ({FILES / two:.0f} files/s)",
            one / two,
            1.8,
            more=True,
        )
    )
    datas = [path.read_bytes() for path in sorted(folder.glob("*.mid"))]
    bare = [(_bare(datas, 1), _bare(datas, 2)) for _ in range(3)]
    given = min(first for first, _ in bare) / min(second for _, second in bare)
    say(told("the same, conversions alone: what the machine has to give", given, more=True))
    say(told("share of it that a batch reaches", one / two / given, 0.9, more=True))
    jobs = find_jobs([str(folder)], str(folder.parent / "out"))
    tasks = [
        Task(job=job, options=Options(), plan_text="", plan_name="", recipe="", known=None) for job in jobs
    ]
    alone = processor_seconds(tasks[100:], 1)
    together = processor_seconds(tasks, 2) - processor_seconds(tasks[:100], 2)  # without starting processes
    say(told("processor time of a file, one of two processes against alone", together / alone, 1.1))


def test_overhead_of_a_file(folder, say):
    """Against conversions in a loop, in processor time: finding, reading, hashing, writing, rows, state."""
    datas = [path.read_bytes() for path in sorted(folder.glob("*.mid"))]
    best = {"loop": float("inf"), "batch": float("inf")}
    for _ in range(3):
        began = time.process_time()
        for data in datas:
            convert(data).checked.after.as_dict()
        best["loop"] = min(best["loop"], time.process_time() - began)
        began = time.process_time()
        _batch(folder, 1)
        best["batch"] = min(best["batch"], time.process_time() - began)
    say(told("overhead of a file in a batch", 1000 * (best["batch"] - best["loop"]) / FILES, 2, what="ms"))
    say(told("a small file", 1000 * best["loop"] / FILES, what="ms"))


def test_waiting_for_the_disk(tmp_path, say):
    """By the clock: writing a small file that outlasts a power cut, and one that need not."""
    waits = {}
    for durable in (True, False):
        began = time.perf_counter()
        for i in range(50):
            write_atomically(tmp_path / f"{i}", b"x" * 3000, durable=durable)
        waits[durable] = 1000 * (time.perf_counter() - began) / 50
    say(told("writing a file that outlasts a power cut", waits[True], what="ms"))
    say(told("writing a file of a batch", waits[False], what="ms"))

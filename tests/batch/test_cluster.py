"""Batches on real clusters of dask.distributed, on loopback."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from retune import __version__
from retune.batch import find_jobs, run_batch
from retune.errors import OptionError, SomeFilesFailed
from retune.options import Options
from retune.pipeline import convert
from tests.batch.build import piece

distributed = pytest.importorskip("distributed")


def cluster_of(workers: int, **more):
    return distributed.LocalCluster(
        n_workers=workers,
        threads_per_worker=1,
        host="127.0.0.1",
        dashboard_address="127.0.0.1:0",
        silence_logs=50,
        **more,
    )


@pytest.fixture
def dozen(tmp_path: Path) -> Path:
    folder = tmp_path / "music"
    folder.mkdir()
    for i in range(12):
        (folder / f"{i:02}.mid").write_bytes(piece(i))
    return folder


def batch(music: Path, out: Path, address: str, **more):
    return run_batch(find_jobs([str(music)], str(out)), str(out), Options(), scheduler=address, **more)


def test_a_cluster_that_loses_a_worker_converts_every_file_once(dozen, tmp_path):
    """Two worker processes, one killed while it works."""
    out = tmp_path / "out"
    killed = []
    with cluster_of(2) as cluster:

        def kill_one(row):
            if not killed:
                killed.append(next(iter(cluster.workers.values())).pid)
                os.kill(killed[0], signal.SIGKILL)

        result = batch(dozen, out, cluster.scheduler_address, on_row=kill_one)
    assert killed
    assert result.counts == {"converted": 12}
    assert sorted(row.source for row in result.rows) == [str(dozen / f"{i:02}.mid") for i in range(12)]
    assert (out / "07.mid").read_bytes() == convert((dozen / "07.mid").read_bytes()).files[0].data


def test_a_cluster_without_workers_is_not_waited_for_for_ever(dozen, tmp_path, monkeypatch):
    """Later there is a worker, and the next run goes on from there."""
    monkeypatch.setattr("retune.batch.cluster.WORKERLESS_SECONDS", 0.5)
    monkeypatch.setattr("retune.batch.cluster.LOOK_SECONDS", 0.1)
    out = tmp_path / "out"
    with cluster_of(0, processes=False, protocol="tcp://") as cluster:
        with pytest.raises(SomeFilesFailed) as ended:
            batch(dozen, out, cluster.scheduler_address)
        message = (
            f"no worker at {cluster.scheduler_address} for 0.5 seconds; 12 of 12 files were not converted"
        )
        assert message in str(ended.value)
        cluster.scale(1)
        cluster.wait_for_workers(1)
        assert batch(dozen, out, cluster.scheduler_address).counts == {"converted": 12}


def test_a_scheduler_that_is_gone_is_not_waited_for_for_ever(dozen, tmp_path, monkeypatch):
    monkeypatch.setattr("retune.batch.cluster.WORKERLESS_SECONDS", 0.5)
    monkeypatch.setattr("retune.batch.cluster.LOOK_SECONDS", 0.1)
    with cluster_of(0, processes=False, protocol="tcp://") as cluster:
        ends = threading.Timer(1.0, cluster.close)
        ends.start()
        with pytest.raises(SomeFilesFailed, match=r"no worker at|has ended"):  # whichever is seen first
            batch(dozen, tmp_path / "out", cluster.scheduler_address)
        ends.join()


@contextlib.contextmanager
def started(module: str, *arguments: object):
    """A process of dask, as its command starts it."""
    command = [sys.executable, "-m", f"distributed.cli.{module}", *map(str, arguments), "--no-dashboard"]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        yield process
    finally:
        process.terminate()
        process.wait(30)


def test_a_scheduler_that_is_killed_is_told_in_a_line(tmp_path):
    """Processes started as docs/batch.md says; dask itself would tell of it with a trace."""
    music, out, file = tmp_path / "music", tmp_path / "out", tmp_path / "scheduler.json"
    music.mkdir()
    for i in range(300):
        (music / f"{i:03}.mid").write_bytes(piece(i))
    scheduler = started("dask_scheduler", "--host", "127.0.0.1", "--port", 0, "--scheduler-file", file)
    worker = started("dask_worker", "--scheduler-file", file, "--nworkers", 1, "--nthreads", 1, "--no-nanny")
    with scheduler as ends, worker:
        address = ""
        while not address:
            time.sleep(0.05)
            with contextlib.suppress(OSError, ValueError):
                address = json.loads(file.read_text())["address"]
        command = [sys.executable, "-m", "retune", "convert", music, "--out-dir", out, "--scheduler", address]
        with subprocess.Popen(command, stderr=subprocess.PIPE) as running:
            while len(list(out.glob("*.mid"))) < 5:
                time.sleep(0.02)
            ends.kill()
            _, said = running.communicate(timeout=60)
    done = len((out / ".retune-state.jsonl").read_text().splitlines())
    assert said.decode() == (
        f"retune: scheduler: the scheduler at {address} has ended; {300 - done} of 300 files were not converted: "
        "start workers and run again\n"
    )
    assert running.returncode == 1


def test_a_worker_with_another_version_is_named(dozen, tmp_path):
    other = "import retune; retune.__version__ = '0.0.1'"
    with cluster_of(1, preload=[other]) as cluster, pytest.raises(OptionError) as refused:
        batch(dozen, tmp_path / "out", cluster.scheduler_address)
    message = re.sub(r":\d+ ", ":PORT ", str(refused.value))
    assert message == (
        "scheduler: the worker at tcp://127.0.0.1:PORT has retune 0.0.1; "
        f"this machine has {__version__}: install one version everywhere"
    )
    assert list((tmp_path / "out").glob("*.mid")) == []


def test_no_scheduler_answers(dozen, tmp_path, monkeypatch):
    monkeypatch.setattr("retune.batch.cluster.CONNECT_SECONDS", 1)
    with pytest.raises(OptionError, match=r"no scheduler answers at tcp://127\.0\.0\.1:9"):
        batch(dozen, tmp_path / "out", "tcp://127.0.0.1:9")

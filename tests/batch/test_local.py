"""A worker that dies takes nobody with it."""

import os
import signal

from retune.batch import Job
from retune.batch.local import run_local
from retune.batch.work import Task
from retune.options import Options
from tests.batch.build import piece


class Deadly(Options):
    """Options that kill the process which unpacks them, as running out of memory would."""

    def __reduce__(self):
        return (_die, ())


def _die():
    os.kill(os.getpid(), signal.SIGKILL)


def test_a_file_that_takes_its_worker_down_is_refused_and_the_rest_are_done(tmp_path):
    tasks = []
    for i in range(5):
        source = tmp_path / f"{i}.mid"
        source.write_bytes(piece(i))
        options = Deadly() if i == 2 else Options()
        job = Job(str(source), str(tmp_path / "out" / f"{i}.mid"))
        tasks.append(Task(job=job, options=options, plan_text="", plan_name="", recipe="", known=None))
    rows = {row.source: row for row in run_local(tasks, 2)}
    assert len(rows) == 5
    refused = [row for row in rows.values() if not row.ok]
    assert [row.source for row in refused] == [str(tmp_path / "2.mid")]
    assert "stopped by the system" in refused[0].reason
    assert sorted(os.listdir(tmp_path / "out")) == ["0.mid", "1.mid", "3.mid", "4.mid"]

"""The batch itself: tasks from jobs, rows into manifests, a summary at the end."""

from __future__ import annotations

import os
from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from retune.batch.jobs import Job, suits
from retune.batch.lines import LineFile
from retune.batch.local import run_local
from retune.batch.manifest import REFUSED, STATE_NAME, UP_TO_DATE, Row, read_rows, recipe_of, tidied
from retune.batch.work import Task, expected_seconds
from retune.errors import OptionError, OutputError
from retune.files import remove_abandoned
from retune.options import Options

START_SECONDS = (
    0.2  # measured by tests/benchmarks/test_batch_speed.py; decides how many processes are started
)
PROCESSES_A_CORE = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchResult:
    """Rows of a batch, ordered by source."""

    rows: tuple[Row, ...]

    @property
    def counts(self) -> dict[str, int]:
        """How many files there are of each status."""
        return dict(Counter(row.status for row in self.rows))

    @property
    def refused(self) -> tuple[Row, ...]:
        """The files that could not be converted."""
        return tuple(row for row in self.rows if row.status == REFUSED)


def run_batch(
    jobs: Sequence[Job],
    out_dir: str,
    options: Options,
    *,
    plan_text: str = "",
    plan_name: str = "plan",
    processes: int | None = None,
    manifest: str | None = None,
    force: bool = False,
    scheduler: str | None = None,
    on_row: Callable[[Row], None] = lambda row: None,
) -> BatchResult:
    """Convert every job; one failing file never stops the rest.

    Parameters
    ----------
    jobs
        From `find_jobs`, with the encoding of `options`.
    out_dir
        Where the results go; also holds the state that lets the next run skip what is up to date.
    options, plan_text, plan_name
        As for a single conversion; the plan as text, because it may have to travel.
    processes
        How many; None for as many as there are cores, fewer if there is little to do.
    manifest
        A file that gets a row of JSON for each file.
    force
        Convert again what is up to date.
    scheduler
        Address of a dask scheduler to run on instead of this machine.
    on_row
        Called with each row as it comes.

    Raises
    ------
    OutputError
        If the output folder or the manifest cannot be written, or another run writes to the manifest.
    OptionError
        If the scheduler does not answer, or the results are not named for the encoding.

    """
    if not all(suits(job.target, options.encoding) for job in jobs):
        raise OptionError(
            f"encoding: the results are not named for {options.encoding}; tell it to find_jobs, too"
        )
    _make_folder(out_dir)
    remove_abandoned(dict.fromkeys([out_dir, *(os.path.dirname(job.target) for job in jobs)]))
    state = Path(out_dir) / STATE_NAME
    known = {} if force else read_rows(state)
    recipe = recipe_of(options, plan_text)
    absolute = scheduler is not None
    if processes is None:
        processes = worthwhile_processes(jobs)
    processes = min(processes, most_processes())
    taken = _named_alike(jobs) if options.when_full == "files" else {}
    tasks = [_task(job, options, plan_text, plan_name, recipe, known, taken, absolute) for job in jobs]
    with ExitStack() as files:
        remembered = files.enter_context(LineFile(state))
        listed = _new_manifest(files, manifest)
        rows = _stream(tasks, remembered, listed, processes, scheduler, on_row)
        remembered.tidy(tidied)
    return BatchResult(rows=tuple(sorted(rows, key=lambda row: row.source)))


def worthwhile_processes(jobs: Sequence[Job]) -> int:
    """One for each core, fewer if the work would be done before another process has started."""
    seconds = sum(map(expected_seconds, jobs))
    return max(1, min(available_cores(), len(jobs), int(seconds / START_SECONDS)))


def most_processes() -> int:
    """Above this many, more would only take memory: they wait for each other, not for disks."""
    return PROCESSES_A_CORE * available_cores()


def available_cores() -> int:
    """How many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _task(
    job: Job,
    options: Options,
    plan_text: str,
    plan_name: str,
    recipe: str,
    known: dict[str, Row],
    taken: dict[str, tuple[str, ...]],
    absolute: bool,
) -> Task:
    alike = taken.get(job.target, ())
    if absolute:
        alike = tuple(map(os.path.abspath, alike))
        job = Job(os.path.abspath(job.source), os.path.abspath(job.target))
    return Task(
        job=job,
        options=options,
        plan_text=plan_text,
        plan_name=plan_name,
        recipe=recipe,
        known=known.get(job.source),
        taken=alike,
    )


def _named_alike(jobs: Sequence[Job]) -> dict[str, tuple[str, ...]]:
    """Result → other results named like a file of one of its parts: `song.mid` → `song-01-bass.mid`."""
    targets = sorted(job.target for job in jobs)
    found = {}
    for target in targets:
        start = os.path.splitext(target)[0] + "-"
        first = end = bisect_left(targets, start)
        while end < len(targets) and targets[end].startswith(start):
            end += 1
        found[target] = tuple(targets[first:end])
    return found


def _new_manifest(files: ExitStack, manifest: str | None) -> LineFile | None:
    if manifest is None:
        return None
    listed = files.enter_context(LineFile(manifest, alone=True))
    listed.clear()
    return listed


def _stream(
    tasks: Sequence[Task],
    remembered: LineFile,
    listed: LineFile | None,
    processes: int,
    scheduler: str | None,
    on_row: Callable[[Row], None],
) -> list[Row]:
    if scheduler is not None:
        from retune.batch.cluster import run_on_cluster

        source = run_on_cluster(tasks, scheduler)
    else:
        source = run_local(tasks, processes)
    rows = []
    try:
        for row in source:
            line = row.as_line().encode()
            if listed is not None:
                listed.add(line)
            if row.status != UP_TO_DATE:  # of others the state says it already
                remembered.add(line)
            rows.append(row)
            on_row(row)
    finally:
        source.close()  # ends the workers before anything else, on an interrupt too
    return rows


def _make_folder(out_dir: str) -> None:
    try:
        os.makedirs(out_dir, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{out_dir}: cannot be made a folder ({(error.strerror or '').lower()})") from None

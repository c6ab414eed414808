"""A batch on the cores of this machine."""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from itertools import islice

from retune.batch.manifest import REFUSED, Row
from retune.batch.work import Task, expected_seconds, run_task, run_tasks

SECONDS_AT_ONCE = (
    0.05  # so much work is handed out together: the cost of that, and of its rows, is that of one task
)
AHEAD = 3  # such portions handed out per worker before their turn, so that none waits and an interrupt loses little
CRASHES_ALLOWED = 2  # a file that takes its worker down this often is given up


def run_local(tasks: Sequence[Task], jobs: int) -> Generator[Row, None, None]:
    """Rows of the tasks as they finish, by `jobs` processes (1: in this one).

    A worker that dies (out of memory, killed) is replaced; the files it held are done again, each alone, and a
    file that does it twice is refused.
    """
    if jobs <= 1 or len(tasks) <= 1:
        yield from map(run_task, tasks)
        return
    left = {task.job: task for task in tasks}
    try:
        for row, task in _pooled(tasks, jobs):
            del left[task.job]
            yield row
    except BrokenProcessPool:
        yield from _after_a_crash(tuple(left.values()))


def _pooled(tasks: Sequence[Task], jobs: int) -> Generator[tuple[Row, Task], None, None]:
    waiting = _portions(tasks)
    executor = worker_pool(min(jobs, len(tasks)))
    running: dict[Future[list[Row]], list[Task]] = {}
    try:
        with _interrupts_held_back():  # the first task starts the workers, which must find this process there
            for portion in islice(waiting, jobs * AHEAD):
                running[executor.submit(run_tasks, portion)] = portion
        while running:
            done, _ = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                portion = running.pop(future)
                yield from zip(future.result(), portion, strict=True)
                following = next(waiting, None)
                if following is not None:
                    running[executor.submit(run_tasks, following)] = following
    finally:
        # Runs on an interrupt too: what is being converted is finished or left without a trace.
        executor.shutdown(wait=True, cancel_futures=True)


def _portions(tasks: Sequence[Task]) -> Iterator[list[Task]]:
    """The tasks in portions of about `SECONDS_AT_ONCE`; a longer one is alone."""
    portion: list[Task] = []
    seconds = 0.0
    for task in tasks:
        more = expected_seconds(task.job)
        if portion and seconds + more > SECONDS_AT_ONCE:
            yield portion
            portion, seconds = [], 0.0
        portion.append(task)
        seconds += more
    if portion:
        yield portion


def _after_a_crash(tasks: Sequence[Task]) -> Iterator[Row]:
    """Each remaining file in a process of its own, so that the one at fault takes nobody with it."""
    for task in tasks:
        for _ in range(CRASHES_ALLOWED):
            try:
                yield from (row for row, _ in _pooled([task], 1))
                break
            except BrokenProcessPool:
                continue
        else:
            reason = "the process that converted it was stopped by the system (out of memory?)"
            yield Row(
                source=task.job.source,
                target=task.job.target,
                status=REFUSED,
                reason=reason,
                recipe=task.recipe,
            )


def worker_pool(workers: int) -> ProcessPoolExecutor:
    """So many processes that have imported the stages and leave interrupts to this one."""
    # A server process that has imported the stages once forks the workers: quick to start, and safe beside
    # the threads of a progress display, where forking this process would not be.
    methods = multiprocessing.get_all_start_methods()
    context = multiprocessing.get_context("forkserver" if "forkserver" in methods else "spawn")
    if context.get_start_method() == "forkserver":
        context.set_forkserver_preload(["retune.batch.preload"])
        _start_server()
    return ProcessPoolExecutor(workers, mp_context=context, initializer=_leave_interrupts_to_the_parent)


def _start_server() -> None:
    """Start the process that forks the workers, deaf to interrupts from its first moment.

    It ignores them by itself, but only once it is up: until then an interrupt would end it with a trace. What is
    held back here is inherited by it, and reaches this process afterwards.
    """
    from multiprocessing import forkserver, resource_tracker

    resource_tracker.ensure_running()  # the server starts it otherwise, and that lets interrupts through again
    with _interrupts_held_back():
        forkserver.ensure_running()


@contextmanager
def _interrupts_held_back() -> Iterator[None]:
    """Let an interrupt wait, where the system can."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _leave_interrupts_to_the_parent() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)

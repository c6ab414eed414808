"""The same batch on a cluster: workers of dask.distributed that see the same folders."""

from __future__ import annotations

import logging
import queue
import time
from asyncio import CancelledError
from collections.abc import Generator, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

from retune import __version__
from retune.batch.manifest import Row
from retune.batch.work import Task, refused, run_task
from retune.errors import OptionError, SomeFilesFailed

if TYPE_CHECKING:
    from distributed import Client, Future

CONNECT_SECONDS = 5
RETRIES = 3  # a task whose worker is lost goes to another this often
WORKERLESS_SECONDS = 30  # so long is waited for a first worker, or for another when all are gone
LOOK_SECONDS = 2  # how often is looked for workers while no result comes


def run_on_cluster(tasks: Sequence[Task], address: str) -> Generator[Row, None, None]:
    """Rows of the tasks as the workers of the scheduler at `address` finish them.

    Paths must be valid on the workers (a shared folder). Raises `OptionError` without the `cluster` extra, for a
    scheduler that does not answer and for workers with another version of `retune`; `SomeFilesFailed` when there
    has been no worker for `WORKERLESS_SECONDS`: what is done stays, and another run goes on from there.
    """
    try:
        from distributed import Client
    except ImportError:
        raise OptionError("scheduler: needs the cluster extra; pip install 'retune[cluster]'") from None
    with _silence():
        try:
            client = Client(address, timeout=CONNECT_SECONDS)
        except (OSError, ValueError, TimeoutError) as error:
            raise OptionError(f"scheduler: no scheduler answers at {address} ({error})") from None
        try:
            _refuse_other_versions(client)
            futures = client.map(
                run_task_there, tasks, version=__version__, pure=False, retries=RETRIES, key="retune"
            )
            task_of = {future.key: task for future, task in zip(futures, tasks, strict=True)}
            for left, future in zip(
                range(len(tasks), 0, -1), _finished(client, futures, address), strict=True
            ):
                try:
                    row = _row_of(future, task_of[future.key])
                except OSError:  # the way to the scheduler; that to a worker is tried again by dask itself
                    raise _unfinished(_ended(address), left, len(tasks)) from None
                yield row
                future.release()
        finally:
            client.close()


@contextmanager
def _silence() -> Iterator[None]:
    """Keep dask from telling of lost workers and schedulers, with traces, what this module tells in a line."""
    loggers = [
        logging.getLogger(name) for name in logging.root.manager.loggerDict if name.startswith("distributed")
    ]
    before = [logger.disabled for logger in loggers]
    for logger in loggers:
        logger.disabled = True
    try:
        yield
    finally:
        for logger, disabled in zip(loggers, before, strict=True):
            logger.disabled = disabled


def run_task_there(task: Task, version: str) -> Row:
    """Convert one file on a worker, which must have the version of `retune` that asks for it."""
    if version != __version__:
        raise RuntimeError(
            f"a worker has retune {__version__}, not {version}; install one version everywhere"
        )
    return run_task(task)


def _refuse_other_versions(client: Client) -> None:
    """Raise `OptionError` if a worker has another version of `retune`, or none."""

    def version() -> str:  # a local function travels as code: a worker need not have this module to answer
        import retune

        return retune.__version__

    answers = client.run(version, on_error="return")
    wrong = {worker: answer for worker, answer in answers.items() if answer != __version__}
    if wrong:
        worker, answer = next(iter(wrong.items()))
        has = f"retune {answer}" if isinstance(answer, str) else f"no retune ({answer})"
        more = f", as {len(wrong) - 1} more have another" if len(wrong) > 1 else ""
        raise OptionError(
            f"scheduler: the worker at {worker} has {has}{more}; this machine has {__version__}: "
            "install one version everywhere"
        )


def _finished(client: Client, futures: Sequence[Future[Row]], address: str) -> Iterator[Future[Row]]:
    """The futures as they finish, in whatever way; raises `SomeFilesFailed` if there is nobody to finish them."""
    done: queue.SimpleQueue[Future[Row]] = queue.SimpleQueue()
    for future in futures:
        future.add_done_callback(done.put)
    left, worker_seen = len(futures), time.monotonic()
    while left:
        try:
            future = done.get(timeout=LOOK_SECONDS)
        except queue.Empty:
            if _has_workers(client):
                worker_seen = time.monotonic()
            elif time.monotonic() - worker_seen > WORKERLESS_SECONDS:
                trouble = f"no worker at {address} for {WORKERLESS_SECONDS} seconds"
                raise _unfinished(trouble, left, len(futures)) from None
            continue
        if future.cancelled():  # nobody cancels but a scheduler that ends
            raise _unfinished(_ended(address), left, len(futures))
        yield future
        left, worker_seen = left - 1, time.monotonic()


def _ended(address: str) -> str:
    return f"the scheduler at {address} has ended"


def _unfinished(trouble: str, left: int, files: int) -> SomeFilesFailed:
    return SomeFilesFailed(
        f"scheduler: {trouble}; {left} of {files} files were not converted: start workers and run again"
    )


def _has_workers(client: Client) -> bool:
    try:
        return bool(client.nthreads())
    except (OSError, TimeoutError):  # the scheduler is gone, too
        return False


def _row_of(future: Future[Row], task: Task) -> Row:
    """The row of a finished task; a task that could not be run on any worker is refused.

    Raises `OSError` if the row cannot be fetched.
    """
    try:
        row: Row = future.result()
    except OSError:
        raise
    except (Exception, CancelledError) as error:  # lost workers, unpicklable errors and what else there is
        reason = f"no worker could convert it: {type(error).__name__}: {error}"
        return refused(task, reason)
    return row

"""The same batch on a cluster: workers of dask.distributed that see the same folders."""

from __future__ import annotations

from collections.abc import Generator, Sequence

from retune.batch.manifest import REFUSED, Row
from retune.batch.work import Task, run_task
from retune.errors import OptionError

CONNECT_SECONDS = 5
RETRIES = 3  # a task whose worker is lost goes to another this often


def run_on_cluster(tasks: Sequence[Task], address: str) -> Generator[Row, None, None]:
    """Rows of the tasks as the workers of the scheduler at `address` finish them.

    Paths must be valid on the workers (a shared folder). Raises `OptionError` without the `cluster` extra and
    for a scheduler that does not answer.
    """
    try:
        from distributed import Client, as_completed
    except ImportError:
        raise OptionError("scheduler: needs the cluster extra; pip install 'retune[cluster]'") from None
    try:
        client = Client(address, timeout=CONNECT_SECONDS)
    except (OSError, ValueError, TimeoutError) as error:
        raise OptionError(f"scheduler: no scheduler answers at {address} ({error})") from None
    try:
        futures = client.map(run_task, tasks, pure=False, retries=RETRIES, key="retune")
        task_of = {future.key: task for future, task in zip(futures, tasks, strict=True)}
        for future in as_completed(futures):
            yield _row_of(future, task_of[future.key])
            future.release()
    finally:
        client.close()


def _row_of(future: object, task: Task) -> Row:
    """The row of a finished task; a task that could not be run on any worker is refused."""
    try:
        row: Row = future.result()  # type: ignore[attr-defined]
    except Exception as error:  # whatever the cluster raises: lost workers, unpicklable errors
        reason = f"no worker could convert it: {type(error).__name__}: {error}"
        return Row(
            source=task.job.source, target=task.job.target, status=REFUSED, reason=reason, recipe=task.recipe
        )
    return row

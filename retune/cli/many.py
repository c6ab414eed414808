"""`retune convert INPUT... --out-dir DIR`: many files, their progress, and a summary."""

from __future__ import annotations

import sys
import time
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import click

from retune.cli.shared import Function, print_json, with_options
from retune.errors import SomeFilesFailed
from retune.files import STANDARD_STREAM
from retune.wording import plain

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from retune.batch import BatchResult, Row
    from retune.options import Options
    from retune.plan import Plan

FORMAT = 1
"""Number of the JSON's own format, raised when its structure changes."""
STATUSES = ("converted", "mended", "up to date", "refused")


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """How to run a batch."""

    manifest: str | None = None
    processes: int | None = None
    force: bool = False
    scheduler: str | None = None


_BATCH = (
    click.option(
        "--manifest",
        metavar="FILE",
        help="With --out-dir: write a row of JSON for each file as it is done. Default: no manifest.",
    ),
    click.option(
        "--jobs",
        "processes",
        type=click.IntRange(min=1),
        metavar="N",
        help="With --out-dir: how many files at once. Default: one for each core.",
    ),
    click.option("--force", is_flag=True, help="With --out-dir: convert again what is up to date."),
    click.option(
        "--scheduler",
        metavar="ADDRESS",
        help="With --out-dir: run on the machines of a dask scheduler, such as tcp://host:8786. "
        "Default: this machine.",
    ),
)


def batch_options(function: Function) -> Function:
    """Add --manifest --jobs --force --scheduler."""
    return with_options(_BATCH, function)


def batch_from(values: dict[str, Any]) -> Batch:
    """Return how a batch is to be run, taken out of the values of `batch_options`."""
    return Batch(**{name: values.pop(name) for name in Batch.__dataclass_fields__})


def convert_many(
    inputs: Sequence[str],
    out_dir: str,
    options: Options,
    *,
    plan: Plan | None,
    batch: Batch,
    as_json: bool,
    quiet: bool,
) -> None:
    """Convert files, folders and patterns into a folder; one file that fails does not stop the others.

    Raises `SomeFilesFailed` at the end if any did, and whatever `find_jobs` and `run_batch` raise.
    """
    from retune.batch import find_jobs, run_batch

    if STANDARD_STREAM in inputs:
        raise click.UsageError("--out-dir takes files and folders, not standard input")
    jobs = find_jobs(inputs, out_dir)
    began = time.monotonic()
    with _progress(len(jobs), quiet=quiet) as tell:
        result = run_batch(
            jobs,
            out_dir,
            options,
            plan_text=plan.source.text if plan else "",
            plan_name=plan.source.name if plan else "plan",
            on_row=tell,
            **asdict(batch),
        )
    if as_json:
        print_json(batch_values(result))
    elif not quiet:
        click.echo(f"{counted(result)} in {time.monotonic() - began:.1f} s; results in {plain(out_dir)}")
    if result.refused:
        raise SomeFilesFailed(
            f"{len(result.refused)} of {len(result.rows)} files could not be converted; each is named above"
        )


def batch_values(result: BatchResult) -> dict[str, Any]:
    """Return a batch as JSON-able values."""
    rows = [
        {
            "source": row.source,
            "target": row.target,
            "status": row.status,
            "reason": row.reason,
            "figures": row.figures,
            "remarks": row.remarks,
        }
        for row in result.rows
    ]
    return {"format": FORMAT, "counts": result.counts, "files": rows}


def counted(result: BatchResult) -> str:
    """Return `97 converted, 2 mended, 1 refused`."""
    counts = result.counts
    said = [f"{counts[status]} {status}" for status in STATUSES if counts.get(status)]
    return ", ".join(said) or "nothing to convert"


@contextmanager
def _progress(total: int, *, quiet: bool) -> Iterator[Callable[[Row], None]]:
    """Give a function that tells of each file: what went wrong as a line, the rest as a bar on a terminal."""
    from rich.console import Console
    from rich.markup import escape
    from rich.progress import Progress

    console = Console(stderr=True, soft_wrap=True, highlight=False)
    shown = not quiet and console.is_terminal
    with Progress(console=console, transient=True, disable=not shown) as progress:
        bar = progress.add_task("retuning", total=total)

        def tell(row: Row) -> None:
            progress.update(bar, advance=1, description=escape(plain(row.source)))
            lines = [row.reason] if row.reason else []
            lines += [] if quiet else [f"{row.source}: {remark}" for remark in row.remarks]
            for line in lines:
                print(f"retune: {plain(line)}", file=console.file if shown else sys.stderr)

        yield tell

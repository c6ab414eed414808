"""`retune convert INPUT... --out-dir DIR`: many files, their progress, and a summary."""

from __future__ import annotations

import os
import sys
import time
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import click

from retune.cli.depfile import depfile, refuse_unspeakable
from retune.cli.options import Function, with_options
from retune.cli.printing import print_json
from retune.cli.tables import table
from retune.errors import OutputError, SomeFilesFailed
from retune.files import STANDARD_STREAM, check_target, remove_abandoned, write_output
from retune.wording import count, plain

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from retune.batch import BatchResult, Job, Row
    from retune.options import Options
    from retune.plan import Plan

FORMAT = 1
"""Number of the JSON's own format, raised when its structure changes."""
SHOWN_REMARKS = 5
"""Most remarks on one file that are said at once."""
NARROW_COLUMNS = 60  # below, a bar and its numbers would need more than one line
DONE = ("converted", "mended", "up to date")


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
        help="With --out-dir: how many files at once. Default: one for each core, fewer for little work.",
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
    depfile_path: str | None = None,
    recipe: Sequence[str] = (),
    as_json: bool = False,
    quiet: bool = False,
) -> None:
    """Convert files, folders and patterns into a folder; one file that fails does not stop the others.

    `recipe` holds the files beside the input that decide the result: they go into the depfile. Raises
    `SomeFilesFailed` at the end if any failed, and whatever `find_jobs` and `run_batch` raise.
    """
    from retune.batch import find_jobs, run_batch
    from retune.batch.manifest import STATE_NAME

    if STANDARD_STREAM in inputs:
        raise click.UsageError("--out-dir takes files and folders, not standard input")
    if STANDARD_STREAM in (out_dir, batch.manifest):
        raise click.UsageError("--out-dir and --manifest need a name, not standard output")
    jobs = find_jobs(inputs, out_dir, encoding=options.encoding)
    if not out_dir:
        raise OutputError("the name of the --out-dir is empty; say where to write")
    state = os.path.join(out_dir, STATE_NAME)
    _refuse_overwriting(jobs, (*recipe, state), (batch.manifest, depfile_path))
    _check_places(out_dir, (batch.manifest, depfile_path))
    if depfile_path is not None:
        refuse_unspeakable(name for job in jobs for name in (job.source, job.target, *recipe))
    began = time.monotonic()
    shown = not quiet and sys.stderr.isatty()
    with _progress(len(jobs), shown=shown) as say, _counted(len(jobs), say) as tell:
        result = run_batch(
            jobs,
            out_dir,
            options,
            plan_text=plan.source.text if plan else "",
            plan_name=plan.source.name if plan else "plan",
            on_row=lambda row: tell(_lines(row, quiet=quiet)),
            **asdict(batch),
        )
    if depfile_path is not None:
        remove_abandoned([os.path.dirname(depfile_path) or "."])
        write_output(depfile_path, depfile(_rules(jobs, result, recipe)))
    if as_json:
        print_json(batch_values(result))
    elif not quiet:
        click.echo(summary(result, out_dir, time.monotonic() - began), nl=False)
    if result.refused:
        raise SomeFilesFailed(
            f"{len(result.refused)} of {count(len(result.rows), 'file')} could not be converted; each is named above"
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


def summary(result: BatchResult, out_dir: str, seconds: float) -> str:
    """Return what became of the files: a row for each outcome, and one for each reason shared by several refused."""
    rows = [(str(result.counts.get(status, 0)), status, "") for status in DONE]
    reasons: dict[str, list[str]] = {}
    for row in result.refused:
        reasons.setdefault(_reason(row), []).append(row.source)
    common = {reason: sources for reason, sources in reasons.items() if len(sources) > 1}
    for reason, sources in sorted(common.items(), key=lambda item: -len(item[1])):
        rows.append((str(len(sources)), "refused", f"{sources[0]} and {len(sources) - 1} more: {reason}"))
    single = len(reasons) - len(common)  # each was told when it came
    if single or not common:
        rows.append((str(single), "refused", ""))
    rate = len(result.rows) / max(seconds, 1e-9)
    last = f"{seconds:.1f} s, {rate:.3g} files a second; results in {plain(out_dir)}\n"
    return table(("files", "became", ""), rows, right=(0,)) + last


def _reason(row: Row) -> str:
    """Return why a file was refused, without its name."""
    return row.reason.removeprefix(row.source).removeprefix(plain(row.source)).lstrip(":, ")


def _lines(row: Row, *, quiet: bool) -> list[str]:
    """Return what to say at once of a file: why it was refused, or what there is to know of its conversion."""
    lines = [row.reason] if row.reason else []
    if not quiet and row.status != "up to date":
        lines += [f"{row.source}: {remark}" for remark in row.remarks[:SHOWN_REMARKS]]
        if (more := len(row.remarks) - SHOWN_REMARKS) > 0:
            lines.append(f"{row.source}: and {count(more, 'more remark')}; --manifest lists all")
    return [f"retune: {plain(line)}" for line in lines]


def _rules(
    jobs: Sequence[Job], result: BatchResult, recipe: Sequence[str]
) -> Iterator[tuple[Sequence[str], Sequence[str]]]:
    """Give for each file that is there now what it was made from, in the words of the command line."""
    as_said = {os.path.abspath(job.target): job for job in jobs}
    for row in result.rows:
        if row.ok:
            job = as_said[os.path.abspath(row.target)]
            folder = os.path.dirname(job.target)
            written = [os.path.join(folder, os.path.basename(path)) for path in sorted(row.output_sha256)]
            yield written, (job.source, *recipe)


def _refuse_overwriting(
    jobs: Sequence[Job], recipe: Sequence[str], results: tuple[str | None, str | None]
) -> None:
    """Refuse to write the manifest or the depfile over music, a plan or each other."""
    kept = {os.path.realpath(path) for path in recipe}
    kept |= {os.path.realpath(path) for job in jobs for path in (job.source, job.target)}
    for result in results:
        if result is not None and result != STANDARD_STREAM:
            place = os.path.realpath(result)
            if place in kept:
                raise OutputError(
                    f"{plain(result)}: this file is music or kept by this run; choose another name"
                )
            kept.add(place)


def _check_places(out_dir: str, results: Iterable[str | None]) -> None:
    """Refuse places where nothing can be written before any music is; the output folder may yet be made."""
    made = os.path.realpath(out_dir)
    if os.path.exists(made) and not os.path.isdir(made):
        raise OutputError(f"{plain(out_dir)}: this is a file, not a folder; choose another --out-dir")
    for result in results:
        if result is not None and os.path.dirname(os.path.realpath(result)) != made:
            check_target(result)
        elif result is not None and os.path.isdir(result):
            raise OutputError(f"{plain(result)}: this is a folder; name a file in it")


@contextmanager
def _counted(total: int, say: Callable[[list[str]], None]) -> Iterator[Callable[[list[str]], None]]:
    """Give a function that says the lines of a file that is done; a run that is stopped says how far it came."""
    done = 0

    def tell(lines: list[str]) -> None:
        nonlocal done
        done += 1
        say(lines)

    try:
        yield tell
    except (KeyboardInterrupt, SystemExit):
        with suppress(OSError):  # the terminal may be what has gone
            print(
                f"retune: {done} of {count(total, 'file')} done; the same call goes on from there",
                file=sys.stderr,
            )
        raise


@contextmanager
def _progress(total: int, *, shown: bool) -> Iterator[Callable[[list[str]], None]]:
    """Give a function that counts a file as done and says its lines on stderr, on a terminal above a bar."""
    if not shown:
        yield lambda lines: print(*lines, sep="\n", file=sys.stderr) if lines else None
        return
    from rich.console import Console
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        ProgressColumn,
        Task,
        TimeRemainingColumn,
    )
    from rich.text import Text

    class Rate(ProgressColumn):
        """Files a second."""

        def render(self, task: Task) -> Text:
            """Return the rate of the last half minute, nothing while it is not known."""
            return Text(f"{task.speed:.3g} files/s" if task.speed else "")

    console = Console(stderr=True)
    columns: tuple[ProgressColumn | str, ...] = (
        BarColumn(),
        MofNCompleteColumn(),
        Rate(),
        TimeRemainingColumn(),
        "left",
    )
    if console.width < NARROW_COLUMNS:
        columns = (MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True) as progress:
        bar = progress.add_task("", total=total)

        def tell(lines: list[str]) -> None:
            progress.advance(bar)
            for line in lines:
                console.print(line, markup=False, highlight=False, emoji=False, soft_wrap=True)

        yield tell

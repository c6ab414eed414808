"""What a worker does with one file; runs in this process, in another, or on a cluster."""

from __future__ import annotations

import os
import time
from dataclasses import dataclass
from pathlib import Path

from retune.batch.jobs import Job
from retune.batch.manifest import CONVERTED, MENDED, REFUSED, UP_TO_DATE, Row, sha256
from retune.errors import RetuneError
from retune.options import Options


CHOICE = "pattern"
"""The only remark of the reader that tells of a choice; every other tells of something that was amiss."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """A job with all it needs; plain data, so that it can travel to another machine."""

    job: Job
    options: Options
    plan_text: str
    plan_name: str
    recipe: str
    known: Row | None  # what the last run did with this file; None: nothing, or it is to be done again


def run_task(task: Task) -> Row:
    """Convert one file, unless its result is there and up to date. Never raises for a file that is at fault."""
    began = time.perf_counter()
    job = task.job
    try:
        row = _convert(task)
    except RetuneError as error:
        row = Row(source=job.source, target=job.target, status=REFUSED, reason=str(error), recipe=task.recipe)
    except Exception as error:  # a fault of ours must not stop the other files; it is told as one
        reason = f"fault in retune: {type(error).__name__}: {error}; please report it with the file"
        row = Row(source=job.source, target=job.target, status=REFUSED, reason=reason, recipe=task.recipe)
    return _timed(row, time.perf_counter() - began)


def _convert(task: Task) -> Row:
    from retune.files import read_input, write_atomically
    from retune.pipeline import convert
    from retune.plan import read_plan

    job = task.job
    data = read_input(job.source)
    digest = sha256(data)
    if task.known is not None and _up_to_date(task.known, digest, task.recipe):
        return _with_status(task.known, UP_TO_DATE)
    plan = read_plan(task.plan_text, name=task.plan_name) if task.plan_text else None
    conversion = convert(data, task.options, name=job.source, plan=plan)
    os.makedirs(os.path.dirname(job.target) or ".", exist_ok=True)
    written = {}
    for file in conversion.files:
        path = beside(job.target, file.suffix, file.extension)
        write_atomically(path, file.data)
        written[path] = sha256(file.data)
    mended = any(remark.code != CHOICE for remark in conversion.analysis.score.remarks)
    return Row(
        source=job.source,
        target=job.target,
        status=MENDED if mended else CONVERTED,
        input_sha256=digest,
        output_sha256=written,
        recipe=task.recipe,
        figures=conversion.checked.after.as_dict(),
        remarks=[str(remark) for remark in conversion.remarks],
    )


def beside(target: str, suffix: str, extension: str) -> str:
    """Path of one file of a conversion: the target itself, or beside it with the file's own suffix."""
    path = Path(target)
    if not suffix and extension == ".mid":
        return target
    return str(path.with_name(path.stem + suffix + extension))


def _up_to_date(known: Row, digest: str, recipe: str) -> bool:
    """Whether the files of an earlier run came from the same input and recipe and still are what they were."""
    if known.input_sha256 != digest or known.recipe != recipe or not known.output_sha256:
        return False
    for path, expected in known.output_sha256.items():
        try:
            if sha256(Path(path).read_bytes()) != expected:
                return False
        except OSError:
            return False
    return True


def _with_status(row: Row, status: str) -> Row:
    from dataclasses import replace

    return replace(row, status=status)


def _timed(row: Row, seconds: float) -> Row:
    from dataclasses import replace

    return replace(row, seconds=round(seconds, 4))

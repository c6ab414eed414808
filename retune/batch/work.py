"""What a worker does with one file; runs in this process, in another, or on a cluster."""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from retune.batch.jobs import Job
from retune.batch.manifest import CONVERTED, MENDED, REFUSED, UP_TO_DATE, Row, sha256
from retune.collector import without_collector
from retune.errors import OutputError, RetuneError
from retune.files import read_input, write_together
from retune.options import Options, option_values
from retune.wording import plain

if TYPE_CHECKING:
    from retune.encode import EncodedFile
    from retune.plan import Plan
    from retune.score import Score

CHOICE = "pattern"
"""The only remark of the reader that tells of a choice; every other tells of something that was amiss."""

# Measured by tests/benchmarks/test_batch_speed.py; they decide how the work is divided, nothing else.
SECONDS_PER_FILE = 0.010
SECONDS_PER_BYTE = 3e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """A job with all it needs; plain data, so that it can travel to another machine."""

    job: Job
    options: Options
    plan_text: str
    plan_name: str
    recipe: str
    known: Row | None  # what the last run did with this file; None: nothing, or it is to be done again
    taken: tuple[
        str, ...
    ] = ()  # results of other files that a file of a part of this one might be named like


def run_task(task: Task) -> Row:
    """Convert one file, unless its result is there and up to date. Never raises for a file that is at fault."""
    began = time.perf_counter()
    job = task.job
    try:
        row = _convert(task)
    except RetuneError as error:
        reason = _naming(job.source, str(error))
        row = refused(task, reason)
    except Exception as error:  # a fault of ours must not stop the other files; it is told as one
        reason = f"fault in retune: {type(error).__name__}: {error}; please report it with the file"
        row = refused(task, reason)
    return replace(row, seconds=round(time.perf_counter() - began, 4))


def refused(task: Task, reason: str) -> Row:
    """The row of a file that could not be converted."""
    return Row(
        source=task.job.source,
        target=task.job.target,
        status=REFUSED,
        reason=reason,
        recipe=task.recipe,
        options=option_values(task.options),
    )


def expected_seconds(job: Job) -> float:
    """How long a conversion is likely to take; 0 for what cannot be read."""
    try:
        return SECONDS_PER_FILE + SECONDS_PER_BYTE * os.path.getsize(job.source)
    except OSError:  # it is refused later
        return 0.0


@without_collector
def _convert(task: Task) -> Row:
    from retune.pipeline import convert
    from retune.score import read_score

    job = task.job
    data = read_input(job.source)
    digest = sha256(data)
    if task.known is not None and _up_to_date(task.known, task, digest):
        return replace(task.known, status=UP_TO_DATE)
    plan = _read_plan(task.plan_text, task.plan_name) if task.plan_text else None
    score = read_score(data, name=job.source)
    conversion = convert(score, _options_for(score, task.options), name=job.source, plan=plan)
    mended = any(remark.code != CHOICE for remark in conversion.analysis.score.remarks)
    return Row(
        source=job.source,
        target=job.target,
        status=MENDED if mended else CONVERTED,
        input_sha256=digest,
        output_sha256=write_files(conversion.files, job.target, task.taken),
        recipe=task.recipe,
        options=option_values(conversion.analysis.options),
        figures=conversion.checked.after.as_dict(),
        remarks=[str(remark) for remark in conversion.remarks],
    )


def _naming(source: str, message: str) -> str:
    """A message that names the file: errors about options know of none, and here there are many."""
    names_it = source in message or plain(source) in message
    return message if names_it else f"{plain(source)}: {message}"


def _options_for(score: Score, options: Options) -> Options:
    """The options without ranges of programs that no part of this piece has: in a batch they take what there is."""
    kept = tuple(text for text in options.fixed if _has_part(score, text))
    return options if kept == options.fixed else replace(options, fixed=kept)


def _has_part(score: Score, text: str) -> bool:
    from retune.score.choose import programs_in

    programs = programs_in(text.partition("=")[0])
    return programs is None or any(
        part.program in programs and not part.is_percussion for part in score.parts
    )


@lru_cache(maxsize=1)
def _read_plan(text: str, name: str) -> Plan:
    """The plan of a batch, read once by each worker."""
    from retune.plan import read_plan

    return read_plan(text, name=name)


def write_files(files: Sequence[EncodedFile], target: str, taken: Sequence[str] = ()) -> dict[str, str]:
    """Write the files of a conversion, the main one to `target`; path → hash.

    `taken` are places of other results of the batch: raises `OutputError`, before anything is written, if one of
    these files would go there.
    """
    places = [file.beside(target) for file in files]
    if clash := next((place for place in places if place in taken), None):
        raise OutputError(
            f"a file of one part would become {plain(clash)}, as another input does; rename one"
        )
    os.makedirs(os.path.dirname(target) or ".", exist_ok=True)
    # The next run compares hashes, so a file that a power cut emptied is made again: no wait for the disk.
    write_together([(place, file.data) for place, file in zip(places, files, strict=True)], durable=False)
    return {place: sha256(file.data) for place, file in zip(places, files, strict=True)}


def _up_to_date(known: Row, task: Task, digest: str) -> bool:
    """Whether the files of an earlier run came from the same input and recipe and still are what they were."""
    now = (task.job.target, digest, task.recipe)
    if (known.target, known.input_sha256, known.recipe) != now or not known.output_sha256:
        return False
    for path, expected in known.output_sha256.items():
        try:
            if sha256(Path(path).read_bytes()) != expected:
                return False
        except OSError:
            return False
    return True

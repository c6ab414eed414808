"""`retune convert`: the main job, one file in, one retuned file out; many files go to `many`."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from retune.cli.many import Batch, batch_from, batch_options, convert_many
from retune.cli.shared import (
    encoding_options,
    json_option,
    options_from,
    plan_option,
    print_json,
    print_remarks,
    quiet_option,
    read_plan_file,
    to_json,
    tuning_options,
)
from retune.errors import OutputError
from retune.files import STANDARD_STREAM, read_input, refuse_same_file, write_output
from retune.wording import plain

if TYPE_CHECKING:
    from retune.encode import EncodedFile
    from retune.options import Options
    from retune.pipeline import Conversion
    from retune.plan import Plan


@click.command("convert")
@click.argument("inputs", metavar="INPUT...", nargs=-1, required=True)
@click.option(
    "-o",
    "--output",
    "output_path",
    metavar="OUTPUT",
    help="Where to write the retuned file; - for standard output. Has no default.",
)
@click.option(
    "--out-dir",
    metavar="DIR",
    help="Where to write the results of many files, folders or patterns, in the same tree. Has no default.",
)
@plan_option
@click.option(
    "--report",
    "report_path",
    metavar="FILE",
    help="Write everything about the conversion as JSON to this file. Default: no report.",
)
@json_option
@quiet_option
@tuning_options
@encoding_options
@batch_options
def command(
    inputs: tuple[str, ...],
    output_path: str | None,
    out_dir: str | None,
    plan_path: str | None,
    report_path: str | None,
    as_json: bool,
    quiet: bool,
    **values: Any,
) -> None:
    """Retune INPUT to just intonation and write OUTPUT, or many inputs into a folder.

    INPUT is a MIDI file, or - for standard input; with --out-dir also a folder or a pattern. The result is
    decoded again before it is written: if it does not sound as intended, nothing is written and the exit status
    is 1.
    """
    options, batch = options_from(values), batch_from(values)
    plan = read_plan_file(plan_path)
    if out_dir is not None:
        if output_path is not None or report_path is not None:
            raise click.UsageError("--out-dir goes without -o and --report; --manifest tells of every file")
        convert_many(inputs, out_dir, options, plan=plan, batch=batch, as_json=as_json, quiet=quiet)
        return
    if batch != Batch():
        raise click.UsageError("--manifest, --jobs, --force and --scheduler go with --out-dir")
    if len(inputs) > 1:
        raise click.UsageError(f"{len(inputs)} inputs need a folder for their results: --out-dir DIR")
    if output_path is None:
        raise click.UsageError("say where to write the retuned file: -o OUTPUT")
    if output_path == STANDARD_STREAM and as_json:
        raise click.UsageError("--json and -o - both want standard output; use --report FILE")
    _refuse_overwriting(inputs[0], plan_path, output_path, report_path)
    conversion = convert_file(inputs[0], output_path, options, plan=plan, report_path=report_path)
    print_remarks(conversion.remarks, name=inputs[0], quiet=quiet)
    if as_json:
        print_json(conversion.report)
    elif not quiet and output_path != STANDARD_STREAM:
        _print_summary(conversion, output_path)


def _print_summary(conversion: Conversion, output_path: str) -> None:
    from retune.cli.summary import conversion_summary

    click.echo(conversion_summary(conversion), nl=False)
    for file in conversion.files:
        click.echo(f"written: {plain(path_of(output_path, file))}")


def _refuse_overwriting(
    input_path: str, plan_path: str | None, output_path: str, report_path: str | None
) -> None:
    """Refuse to write over what is read, or to write two results into one file."""
    for own in (input_path, plan_path):
        for target in (output_path, report_path):
            if own is not None and target is not None:
                refuse_same_file(own, target)
    if report_path is not None and os.path.realpath(report_path) == os.path.realpath(output_path):
        raise OutputError(f"{plain(report_path)}: the report and the output are the same file; name two")


def convert_file(
    input_path: str,
    output_path: str,
    options: Options,
    *,
    plan: Plan | None = None,
    report_path: str | None = None,
) -> Conversion:
    """Read one file, retune it, and write the result and the report; each file whole or not at all."""
    data = read_input(input_path)
    from retune.pipeline import convert

    conversion = convert(data, options, name=input_path, plan=plan)
    if output_path == STANDARD_STREAM and len(conversion.files) > 1:
        raise OutputError(
            f"standard output takes one file, not {len(conversion.files)}; name an OUTPUT instead"
        )
    for file in conversion.files:
        write_output(path_of(output_path, file), file.data)
    if report_path is not None:
        write_output(report_path, to_json(conversion.report))
    return conversion


def path_of(output_path: str, file: EncodedFile) -> str:
    """Return where a file of a conversion goes: the main one where the user said, others beside it."""
    if not file.suffix:
        return output_path
    path = Path(output_path)
    return str(path.with_name(path.stem + file.suffix + file.extension))

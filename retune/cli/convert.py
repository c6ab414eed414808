"""`retune convert`: the main job; a single file goes to `one`, many go to `many`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from retune.cli.many import Batch, batch_from, batch_options, convert_many
from retune.cli.one import Places, convert_one
from retune.cli.options import (
    encoding_options,
    json_option,
    plan_option,
    quiet_option,
    read_plan_file,
    settings_from,
    tuning_options,
)
from retune.files import STANDARD_STREAM
from retune.settings import with_temperament_files

if TYPE_CHECKING:
    from retune.options import Options


@click.command("convert")
@click.argument("inputs", metavar="INPUT...", nargs=-1)
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
@click.option(
    "--per-part",
    "parts_dir",
    metavar="DIR",
    help="Write a complete file for each part into this folder, instead of one for all. Has no default.",
)
@plan_option
@click.option(
    "--report",
    "report_path",
    metavar="FILE",
    help="Write everything about the conversion as JSON to this file. Default: no report.",
)
@click.option(
    "--depfile",
    "depfile_path",
    metavar="FILE",
    help="Write a rule for make to this file: each result, and what it was made from. Default: no rules.",
)
@click.option(
    "--show-options",
    is_flag=True,
    help="Print the options in force as TOML, to be saved as retune.toml, and convert nothing.",
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
    parts_dir: str | None,
    plan_path: str | None,
    report_path: str | None,
    depfile_path: str | None,
    show_options: bool,
    as_json: bool,
    quiet: bool,
    **values: Any,
) -> None:
    """Retune INPUT to just intonation and write OUTPUT, or many inputs into a folder.

    INPUT is a MIDI file, or - for standard input; with --out-dir also a folder or a pattern. With --per-part there
    is a file for each part, for sequencers that keep one channel a track. The result is decoded again before it is
    written: if it does not sound as intended, nothing is written and the exit status is 1. Options may also be said
    in a file retune.toml in the current folder, under their long names; the command line overrides it.
    """
    given = frozenset(name for name, value in values.items() if value is not None)
    settings, batch = settings_from(values), batch_from(values)
    options = settings.options()
    if show_options:
        click.echo(settings.as_toml().encode(), nl=False)
        return
    if not inputs:
        raise click.UsageError("missing argument 'INPUT...'")
    plan = read_plan_file(plan_path, beside=inputs[0])
    options = with_temperament_files(options, plan.fixed if plan else ())
    recipe = _recipe(plan_path, settings.path, options)
    if out_dir is not None:
        if (output_path, report_path, parts_dir) != (None, None, None):
            raise click.UsageError(
                "--out-dir goes without -o, --per-part and --report; --manifest tells of every file"
            )
        convert_many(
            inputs,
            out_dir,
            options,
            plan=plan,
            batch=batch,
            depfile_path=depfile_path,
            recipe=recipe,
            as_json=as_json,
            quiet=quiet,
        )
        return
    if batch != Batch():
        raise click.UsageError("--manifest, --jobs, --force and --scheduler go with --out-dir")
    places = Places(output_path, parts_dir, report_path, depfile_path)
    convert_one(inputs, places, options, plan=plan, recipe=recipe, given=given, as_json=as_json, quiet=quiet)


def _recipe(plan_path: str | None, settings_path: str | None, options: Options) -> tuple[str, ...]:
    """Return the files beside the input that decide the result."""
    named = (plan_path, settings_path, *(name for name, _ in options.temperaments))
    return tuple(path for path in named if path and path != STANDARD_STREAM)

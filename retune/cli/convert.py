"""`retune convert`: the main job, one file in, one retuned file out; many files go to `many`."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from retune.cli.depfile import depfile, refuse_unspeakable
from retune.cli.idle import idle_options
from retune.cli.many import Batch, batch_from, batch_options, convert_many
from retune.cli.options import (
    encoding_options,
    json_option,
    plan_option,
    quiet_option,
    read_plan_file,
    settings_from,
    tuning_options,
)
from retune.cli.printing import print_json, print_remarks, to_json
from retune.errors import OutputError
from retune.files import (
    STANDARD_STREAM,
    make_folder,
    read_input,
    refuse_overwriting,
    write_output,
    write_together,
)
from retune.options import CLIP_SUFFIX
from retune.settings import with_temperament_files
from retune.wording import plain

if TYPE_CHECKING:
    from retune.options import Options
    from retune.pipeline import Conversion
    from retune.plan import Plan


_MADE_OTHERWISE = {
    **dict.fromkeys((".wav", ".flac", ".mp3", ".ogg", ".aif", ".aiff", ".html", ".htm"), "retune preview"),
    **dict.fromkeys((".csv", ".md", ".musicxml", ".xml", ".mxl"), "retune parts"),
    **dict.fromkeys((".svg", ".png", ".pdf"), "retune plot"),
    ".json": "--report",
    ".toml": "retune analyze --plan",
}
"""Endings of what other commands and options write."""


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
    in a file retune.toml in the current folder, under their long names; the command line goes before it.
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
    if parts_dir is not None:
        output_path = _main_name(inputs, output_path, parts_dir, batch)
    else:
        output_path = _one_output(inputs, output_path, depfile_path, batch)
    _refuse_mixing(output_path, report_path, depfile_path, as_json=as_json)
    read, beside = (inputs[0], *recipe), (report_path, depfile_path)
    refuse_overwriting(read, beside if parts_dir is not None else (output_path, *beside))
    if parts_dir is None:
        _refuse_false_name(output_path, options.encoding)
    if depfile_path is not None:
        refuse_unspeakable((inputs[0], output_path, *recipe))
    conversion = _converted(inputs[0], output_path, options, plan, per_part=parts_dir is not None)
    if parts_dir is not None:
        make_folder(parts_dir)
    _write(conversion, output_path, read, beside)
    if report_path is not None:
        write_output(report_path, to_json(_document(conversion, output_path)))
    if depfile_path is not None:
        _write_depfile(depfile_path, conversion, output_path, read)
    remarks = (*conversion.remarks, *idle_options(conversion, given))
    print_remarks(remarks, name=inputs[0], quiet=quiet)
    if as_json:
        print_json(_document(conversion, output_path))
    elif not quiet and STANDARD_STREAM not in (output_path, *beside):
        _print_summary(conversion, output_path)


def _main_name(inputs: tuple[str, ...], output_path: str | None, parts_dir: str, batch: Batch) -> str:
    """Return the name with which those of the files of all parts begin, in their folder."""
    if output_path is not None:
        raise click.UsageError("--per-part goes without -o: the files are named after INPUT and the parts")
    _refuse_batch(batch)
    if len(inputs) > 1:
        raise click.UsageError(f"--per-part takes one INPUT, not {len(inputs)}; run it once for each")
    if parts_dir in ("", STANDARD_STREAM):
        raise click.UsageError("--per-part needs the name of a folder")
    if os.path.exists(parts_dir) and not os.path.isdir(parts_dir):
        raise OutputError(f"{plain(parts_dir)}: this is a file, not a folder; choose another --per-part")
    stem = "music" if inputs[0] == STANDARD_STREAM else Path(inputs[0]).stem
    return os.path.join(parts_dir, f"{stem}.mid")


def _recipe(plan_path: str | None, settings_path: str | None, options: Options) -> tuple[str, ...]:
    """Return the files beside the input that decide the result."""
    named = (plan_path, settings_path, *(name for name, _ in options.temperaments))
    return tuple(path for path in named if path and path != STANDARD_STREAM)


def _one_output(
    inputs: tuple[str, ...], output_path: str | None, depfile_path: str | None, batch: Batch
) -> str:
    """Return where the result of a single conversion goes; refuse what makes sense for a batch only."""
    _refuse_batch(batch)
    if len(inputs) > 1:
        raise click.UsageError(_too_many(inputs, output_path))
    if output_path is None:
        raise click.UsageError(
            "say where to write the retuned file: -o OUTPUT, --per-part DIR for a file for each part, or "
            "--out-dir DIR for many"
        )
    if output_path == STANDARD_STREAM and depfile_path is not None:
        raise click.UsageError("--depfile needs an OUTPUT with a name, not standard output")
    return output_path


def _refuse_mixing(
    output_path: str, report_path: str | None, depfile_path: str | None, *, as_json: bool
) -> None:
    """Refuse two things that would run into each other on standard output."""
    names = {"-o -": output_path, "--report -": report_path, "--depfile -": depfile_path}
    wanting = ["--json"] if as_json else []
    wanting += [name for name, path in names.items() if path == STANDARD_STREAM]
    if len(wanting) > 1:
        raise click.UsageError(
            f"{wanting[0]} and {wanting[1]} both want standard output; name a file for one of them"
        )


def _too_many(inputs: tuple[str, ...], output_path: str | None) -> str:
    """Return what to say of several inputs; the last of two may have been meant for the output."""
    if len(inputs) == 2 and output_path is None and not os.path.exists(inputs[1]):
        return f"{plain(inputs[1])}: no such file; if it is where the result goes, say -o {plain(inputs[1])}"
    return f"{len(inputs)} inputs need a folder for their results: --out-dir DIR"


def _refuse_batch(batch: Batch) -> None:
    if batch != Batch():
        raise click.UsageError("--manifest, --jobs, --force and --scheduler go with --out-dir")


def _write(
    conversion: Conversion, output_path: str, read: tuple[str, ...], beside: tuple[str | None, str | None]
) -> None:
    """Write the files of a conversion, unless one would go where something else is or goes."""
    if output_path == STANDARD_STREAM:
        write_output(output_path, conversion.files[0].data)
        return
    results = _written(conversion, output_path)
    refuse_overwriting(read, (*results, *beside))  # of several files the names are known only now
    write_together([(path, file.data) for path, file in zip(results, conversion.files, strict=True)])


def _refuse_false_name(output_path: str, encoding: str) -> None:
    """Refuse a name under which nobody would look for what is written: another kind of file, or of music."""
    name = Path(output_path)
    is_clip, suffix = encoding == "midi2", name.suffix.lower()
    wrong = _midi_suffixes() if is_clip else (CLIP_SUFFIX,)
    if suffix not in wrong and suffix not in _MADE_OTHERWISE:
        return
    better = f"name it {plain(name.with_suffix(CLIP_SUFFIX if is_clip else '.mid').name)}"
    if suffix in _MADE_OTHERWISE:
        raise OutputError(
            f"{plain(output_path)}: convert writes MIDI; {better}, or see {_MADE_OTHERWISE[suffix]}"
        )
    kind = "a MIDI 2.0 clip, not a MIDI file" if is_clip else "a MIDI file, not a MIDI 2.0 clip"
    raise OutputError(f"{plain(output_path)}: --encoding {encoding} writes {kind}; {better}")


def _midi_suffixes() -> frozenset[str]:
    from retune.batch.jobs import MIDI_SUFFIXES

    return MIDI_SUFFIXES


def _document(conversion: Conversion, output_path: str) -> dict[str, Any]:
    """Return the report of a conversion, with where its files are."""
    return {**conversion.report, "written": _written(conversion, output_path)}


def _written(conversion: Conversion, output_path: str) -> list[str]:
    """Return where the files of a conversion are; nowhere, if standard output got them."""
    return [] if output_path == STANDARD_STREAM else [file.beside(output_path) for file in conversion.files]


def _write_depfile(path: str, conversion: Conversion, output_path: str, sources: tuple[str, ...]) -> None:
    targets = _written(conversion, output_path)
    write_output(path, depfile([(targets, [source for source in sources if source != STANDARD_STREAM])]))


def _print_summary(conversion: Conversion, output_path: str) -> None:
    from retune.cli.summary import conversion_summary

    click.echo(conversion_summary(conversion), nl=False)
    for path in _written(conversion, output_path):
        click.echo(f"written: {plain(path)}")


def _converted(
    input_path: str, output_path: str, options: Options, plan: Plan | None, *, per_part: bool
) -> Conversion:
    """Read one file and retune it; nothing is written yet."""
    data = read_input(input_path)
    from retune.pipeline import convert

    conversion = convert(data, options, name=input_path, plan=plan, per_part=per_part)
    if output_path == STANDARD_STREAM and len(conversion.files) > 1:
        raise OutputError(
            f"standard output takes one file, not {len(conversion.files)}; name an OUTPUT instead"
        )
    return conversion

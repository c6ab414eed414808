"""One file retuned and written: what `retune convert` does without --out-dir."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from retune.cli.depfile import depfile, refuse_unspeakable
from retune.cli.idle import idle_options
from retune.cli.options import refuse_mixing
from retune.cli.printing import print_json, print_remarks, to_json
from retune.errors import OutputError
from retune.files import (
    STANDARD_STREAM,
    called,
    make_folder,
    read_input,
    refuse_overwriting,
    write_output,
    write_together,
)
from retune.options import CLIP_SUFFIX
from retune.wording import plain

if TYPE_CHECKING:
    from collections.abc import Collection

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


class Places(NamedTuple):
    """Where the results of a conversion are to go, as the command line says; None for what is not wanted."""

    output: str | None
    parts_dir: str | None
    report: str | None
    depfile: str | None

    @property
    def beside(self) -> tuple[str | None, str | None]:
        """What is written beside the music."""
        return self.report, self.depfile


def convert_one(
    inputs: tuple[str, ...],
    places: Places,
    options: Options,
    *,
    plan: Plan | None,
    recipe: tuple[str, ...] = (),
    given: Collection[str] = (),
    as_json: bool = False,
    quiet: bool = False,
) -> None:
    """Convert the one input, write what is wanted and print what came of it.

    `recipe` holds the files beside the input that decide the result, `given` the fields of `Options` that the
    command line spoke of. Raises a usage error for more than one input and for places that do not go together,
    `OutputError` for those that cannot be written, and whatever `retune.pipeline.convert` raises.
    """
    output_path = _output(inputs, places)
    read = (inputs[0], *recipe)
    _refuse_places(output_path, places, read, options.encoding, as_json=as_json)
    conversion = _converted(inputs[0], output_path, options, plan, per_part=places.parts_dir is not None)
    if places.parts_dir is not None:
        make_folder(places.parts_dir)
    _write(conversion, output_path, read, places.beside)
    if places.report is not None:
        write_output(places.report, to_json(_document(conversion, output_path)))
    if places.depfile is not None:
        _write_depfile(places.depfile, conversion, output_path, read)
    print_remarks(
        (*conversion.remarks, *idle_options(conversion, given)), name=called(inputs[0]), quiet=quiet
    )
    if as_json:
        print_json(_document(conversion, output_path))
    elif not quiet and STANDARD_STREAM not in (output_path, *places.beside):
        _print_summary(conversion, output_path)


def _output(inputs: tuple[str, ...], places: Places) -> str:
    """Return where the music goes; with a file for each part, what their names begin with."""
    if places.parts_dir is not None:
        return _main_name(inputs, places.output, places.parts_dir)
    return _one_output(inputs, places.output, places.depfile)


def _refuse_places(
    output_path: str, places: Places, read: tuple[str, ...], encoding: str, *, as_json: bool
) -> None:
    """Refuse places that clash, with each other or with what is read, before anything is done."""
    wanting = {"-o -": output_path, "--report -": places.report, "--depfile -": places.depfile}
    refuse_mixing(wanting, as_json=as_json)
    if places.parts_dir is not None:
        refuse_overwriting(read, places.beside)
    else:
        refuse_overwriting(read, (output_path, *places.beside))
        _refuse_false_name(output_path, encoding)
    if places.depfile is not None:
        refuse_unspeakable((*read, output_path))


def _main_name(inputs: tuple[str, ...], output_path: str | None, parts_dir: str) -> str:
    """Return the name with which those of the files of all parts begin, in their folder."""
    if output_path is not None:
        raise click.UsageError("--per-part goes without -o: the files are named after INPUT and the parts")
    if len(inputs) > 1:
        raise click.UsageError(f"--per-part takes one INPUT, not {len(inputs)}; run it once for each")
    if parts_dir in ("", STANDARD_STREAM):
        raise click.UsageError("--per-part needs the name of a folder")
    if os.path.exists(parts_dir) and not os.path.isdir(parts_dir):
        raise OutputError(f"{plain(parts_dir)}: this is a file, not a folder; choose another --per-part")
    stem = "music" if inputs[0] == STANDARD_STREAM else Path(inputs[0]).stem
    return os.path.join(parts_dir, f"{stem}.mid")


def _one_output(inputs: tuple[str, ...], output_path: str | None, depfile_path: str | None) -> str:
    """Return where the result of a single conversion goes."""
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


def _too_many(inputs: tuple[str, ...], output_path: str | None) -> str:
    """Return what to say of several inputs; the last of two may have been meant for the output."""
    if len(inputs) == 2 and output_path is None and not os.path.exists(inputs[1]):
        return f"{plain(inputs[1])}: no such file; if it is where the result goes, say -o {plain(inputs[1])}"
    return f"{len(inputs)} inputs need a folder for their results: --out-dir DIR"


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
    data = read_input(input_path, of_folder="name a file in it, or use --out-dir to convert it all")
    from retune.pipeline import convert

    conversion = convert(data, options, name=called(input_path), plan=plan, per_part=per_part)
    if output_path == STANDARD_STREAM and len(conversion.files) > 1:
        raise OutputError(
            f"standard output takes one file, not {len(conversion.files)}; name an OUTPUT instead"
        )
    return conversion

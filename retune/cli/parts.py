"""`retune parts`: cents for singers and players."""

from __future__ import annotations

from typing import Any

import click

from retune.cli.options import (
    ending,
    input_argument,
    options_from,
    output_option,
    part_option,
    plan_option,
    quiet_option,
    title_option,
    tuning_options,
)
from retune.cli.printing import print_written
from retune.cli.tuned import heading, tuned_input
from retune.cli.values import Word
from retune.errors import OptionError
from retune.files import STANDARD_STREAM, refuse_overwriting, write_output

KINDS = ("html", "csv", "md", "musicxml")


@click.command("parts")
@input_argument
@output_option("Where to write: .html to print, .csv, .md, .musicxml; - for standard output. Has no default.")
@click.option(
    "--as",
    "kind",
    type=Word(KINDS),
    help="What to write, where the ending of OUTPUT does not say it. Default: the ending.",
)
@part_option("A part to write: its name or number; repeatable. Default: all parts.")
@click.option(
    "--mark-from",
    "mark_from_cents",
    type=float,
    default=5.0,
    metavar="CENTS",
    help="Print cents only at notes this far from the tuner's zero. Default: 5 cents.",
)
@click.option(
    "--shortest",
    "shortest_s",
    type=float,
    default=0.2,
    metavar="SECONDS",
    help="Print no cents at shorter notes. Default: 0.2 seconds.",
)
@click.option(
    "--slow-chords",
    type=int,
    default=8,
    metavar="N",
    help="How many chords to list for slow tuning in rehearsal. Default: 8.",
)
@click.option("--ratios", is_flag=True, help="Show the ratio of each note to the root of its chord.")
@title_option("Heading of the sheets")
@plan_option
@quiet_option
@tuning_options
def command(
    input_path: str,
    output_path: str,
    kind: str | None,
    parts: tuple[str, ...],
    mark_from_cents: float,
    shortest_s: float,
    slow_chords: int,
    ratios: bool,
    title: str | None,
    plan_path: str | None,
    quiet: bool,
    **values: Any,
) -> None:
    """Write the cents that each singer or player of INPUT needs, from the tuner's zero.

    String players: reach a pitch by the finger, never by turning a peg far up; a string tuned well above its
    pitch can break.
    """
    options = options_from(values)
    kind = kind or _kind(output_path)
    refuse_overwriting((input_path,), (output_path,))
    from retune.parts import SheetOptions, collect_sheets, write_sheets

    wanted = SheetOptions(
        mark_from_cents=mark_from_cents, shortest_s=shortest_s, chords=slow_chords, ratios=ratios
    )
    analysis, tuning = tuned_input(input_path, options, plan_path, quiet=quiet)
    from retune.listen.choose import chosen_parts

    score = analysis.score
    sheets = collect_sheets(
        score,
        analysis.harmony,
        analysis.ratios,
        tuning,
        wanted,
        parts=chosen_parts(score, parts) if parts else None,
        reference_hz=analysis.options.reference_hz,
        title=heading(title, analysis, input_path),
    )
    if not sheets.sheets:
        raise OptionError("nothing to write: the file has no pitched notes")
    write_output(output_path, write_sheets(score, sheets, kind))
    print_written(output_path, quiet=quiet)


def _kind(output_path: str) -> str:
    if output_path == STANDARD_STREAM:
        raise OptionError(f"standard output has no ending: say what to write (--as {'|'.join(KINDS)})")
    return ending(output_path, KINDS)

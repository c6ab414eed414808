"""`retune plot`: pictures for papers and lessons."""

from __future__ import annotations

from typing import Any

import click

from retune.cli.options import (
    bars_option,
    ending,
    input_argument,
    options_from,
    output_option,
    plan_option,
    quiet_option,
    title_option,
    tuning_options,
)
from retune.cli.printing import print_written
from retune.cli.tuned import heading, tuned_input
from retune.cli.values import Word
from retune.files import refuse_overwriting, write_output


@click.command("plot")
@input_argument
@output_option("Where to write: .svg, .png or .pdf; - for SVG on standard output. Has no default.")
@click.option(
    "--kind",
    type=Word(("roll", "drift", "beats")),
    default="roll",
    help="roll: every note in the colour of its offset; drift: where the roots sit over time; beats: root and third "
    "of the longest chord before and after, their spectrum and how loud they are over time. Default: roll.",
)
@bars_option("Draw")
@title_option("Heading")
@plan_option
@quiet_option
@tuning_options
def command(
    input_path: str,
    output_path: str,
    kind: str,
    bars: tuple[int, int | None] | None,
    title: str | None,
    plan_path: str | None,
    quiet: bool,
    **values: Any,
) -> None:
    """Draw the tuning of INPUT as a picture. The same input gives the same SVG, byte for byte."""
    from retune.plots import FORMATS, draw

    form = ending(output_path, FORMATS, for_stdout=FORMATS[0])
    options = options_from(values)
    refuse_overwriting((input_path,), (output_path,))
    analysis, tuning = tuned_input(input_path, options, plan_path, quiet=quiet)
    first, last = bars or (None, None)
    picture = draw(
        kind,
        analysis.score,
        analysis.harmony,
        analysis.ratios,
        tuning,
        analysis.options,
        form=form,
        first_bar=first,
        last_bar=last,
        title=heading(title, analysis, input_path),
    )
    write_output(output_path, picture)
    print_written(output_path, quiet=quiet)

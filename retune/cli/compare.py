"""`retune compare`: one piece under every tuning, in figures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from retune.cli.options import (
    ending,
    input_argument,
    json_option,
    options_from,
    plan_option,
    quiet_option,
    refuse_mixing,
    tuning_options,
)
from retune.cli.printing import print_json, print_remarks, print_written
from retune.cli.tables import NOTHING, cents, table
from retune.cli.tuned import analyzed_input
from retune.files import STANDARD_STREAM, called, refuse_overwriting, write_output

if TYPE_CHECKING:
    from retune.compare import Comparison, TuningFigures

HEADERS = (
    "tuning",
    "from pure",
    "within 1c",
    "95% within",
    "held max",
    "held 99%",
    "repeats 95%",
    "root max",
    "root end",
    "beats/s",
    "roughness",
    "worst bars",
)


@click.command("compare")
@input_argument
@json_option
@click.option(
    "--plot",
    "plot_path",
    metavar="FILE",
    help="Draw displacement over time and deviation per bar as FILE, .svg, .png or .pdf; - for SVG on "
    "standard output, instead of the table. Default: none.",
)
@tuning_options
@plan_option
@quiet_option
def command(
    input_path: str,
    as_json: bool,
    plot_path: str | None,
    plan_path: str | None,
    quiet: bool,
    **values: Any,
) -> None:
    """Measure INPUT under every tuning, side by side.

    INPUT is a MIDI file, or - for standard input. It is measured in equal temperament, in the fixed
    temperaments that suit it best, with a table per chord, and in each preset of this program. Consonant pairs
    of notes: mean distance from pure, share of time within 1 cent, and the distance that 95 % of the time does
    not exceed. Notes: how far any moves while it is held, and shifts when it is repeated. Roots of chords:
    their largest and last distance from equal temperament. All in cents.
    """
    options = options_from(values)
    refuse_mixing({"--plot -": plot_path}, as_json=as_json)
    if plot_path is not None:
        from retune.plots import FORMATS

        form = ending(plot_path, FORMATS, for_stdout=FORMATS[0])
        refuse_overwriting((input_path,), (plot_path,))
    analysis = analyzed_input(input_path, options, plan_path)
    from retune.compare import compare

    comparison = compare(analysis)
    print_remarks((*analysis.score.remarks, *analysis.harmony.remarks), name=called(input_path), quiet=quiet)
    if plot_path is not None:
        from retune.compare.plot import plot

        write_output(plot_path, plot(comparison, form))
        if plot_path == STANDARD_STREAM:
            return
    if as_json:
        print_json(comparison.as_json())
    elif not quiet and not len(analysis.harmony.windows):
        click.echo("No pitched notes, so there is nothing to compare.")
    elif not quiet:
        click.echo(text(comparison), nl=False)
        if plot_path is not None:
            click.echo()
            print_written(plot_path)


def text(comparison: Comparison) -> str:
    """The table of a comparison, a line a tuning."""
    rows = [_row(tuning) for tuning in comparison.tunings]
    return table(HEADERS, rows, right=tuple(range(1, len(HEADERS) - 1)))


def _row(tuning: TuningFigures) -> tuple[str, ...]:
    found = tuning.figures
    share = found.share_within_1_cent
    return (
        tuning.name,
        _number(found.mean_deviation_cents),
        NOTHING if share is None else f"{100.0 * share:.1f}%",
        _number(found.deviation_p95_cents),
        _number(found.held_movement_max_cents),
        _number(found.held_movement_p99_cents),
        _number(found.repeat_shift_p95_cents),
        _number(found.displacement_max_cents),
        NOTHING if found.displacement_end_cents is None else cents(found.displacement_end_cents),
        _number(tuning.beats_per_second),
        _number(tuning.roughness),
        ", ".join(f"{bar.bar} ({bar.mean_deviation_cents:.1f})" for bar in tuning.worst_bars()),
    )


def _number(value: float | None) -> str:
    return NOTHING if value is None else f"{value:.2f}"

"""`retune analyze`: what was found in a piece, as a table, as JSON, or as a plan to edit."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

import click

from retune.cli.options import (
    input_argument,
    json_option,
    options_from,
    quiet_option,
    refuse_mixing,
    tuning_options,
)
from retune.cli.printing import print_json, print_remarks, print_written
from retune.cli.tables import cents, table
from retune.cli.tuned import analyzed_input
from retune.errors import OutputError
from retune.files import STANDARD_STREAM, called, refuse_overwriting, write_output
from retune.settings import as_arguments
from retune.wording import count

if TYPE_CHECKING:
    from collections.abc import Sequence

    from retune.pipeline import Analysis
    from retune.tuning import Tuning
    from retune.tuning.model import Compromise

SHOWN_PLACES = 10


@click.command("analyze")
@input_argument
@json_option
@click.option(
    "--plan",
    "new_plan_path",
    metavar="FILE",
    help="Write what was decided as a plan to edit; `retune convert --plan FILE` obeys it. Default: none.",
)
@click.option("--overwrite", is_flag=True, help="Let --plan replace a file that exists.")
@click.option(
    "--obey-plan",
    "plan_path",
    metavar="FILE",
    help="Obey this plan, and show what comes of it. Default: none.",
)
@click.option(
    "--explain",
    "explain_bar",
    metavar="BAR",
    type=click.IntRange(min=1),
    help="Say why the harmony of this bar is what it is. Default: no bar.",
)
@tuning_options
@quiet_option
def command(
    input_path: str,
    as_json: bool,
    new_plan_path: str | None,
    overwrite: bool,
    plan_path: str | None,
    explain_bar: int | None,
    quiet: bool,
    **values: Any,
) -> None:
    """Show the harmony, the ratios and the tuning of INPUT, window by window.

    INPUT is a MIDI file, or - for standard input. Displacement is how far a chord's root sits from its
    equal-tempered pitch.
    """
    options = options_from(values)
    if explain_bar is not None and (as_json or new_plan_path is not None):
        raise click.UsageError("--explain prints text alone; it goes without --json and --plan")
    refuse_mixing({"--plan -": new_plan_path}, as_json=as_json)
    if new_plan_path is not None:
        _may_write(input_path, new_plan_path, overwrite)
    analysis = analyzed_input(input_path, options, plan_path)
    if explain_bar is not None:
        from retune.cli.explain import explanation_text

        click.echo(explanation_text(analysis, explain_bar), nl=False)
        return
    from retune.pipeline import tune

    tuning = tune(analysis)
    from retune.cli.windows import all_remarks, analysis_values

    print_remarks(all_remarks(analysis, tuning), name=called(input_path), quiet=quiet)
    if new_plan_path is not None:
        from retune.plan import write_plan

        name = os.path.basename(input_path)
        text = write_plan(
            analysis.score, analysis.harmony, analysis.ratios, name=name, arguments=as_arguments(options)
        )
        write_output(new_plan_path, text.encode())
        if new_plan_path == STANDARD_STREAM:
            return
    if as_json:
        print_json(analysis_values(analysis, tuning))
    elif not quiet:
        click.echo(_text(analysis, tuning), nl=False)
        if new_plan_path is not None:
            click.echo()
            print_written(new_plan_path)


def _may_write(input_path: str, plan_path: str, overwrite: bool) -> None:
    """Refuse to write over the music, or over a plan that may hold somebody's edits."""
    refuse_overwriting((input_path,), (plan_path,))
    if not overwrite and os.path.exists(plan_path):
        raise OutputError(
            f"{plan_path}: the file exists; choose another name, or replace it with --overwrite"
        )


def _text(analysis: Analysis, tuning: Tuning) -> str:
    from retune.rows import window_rows

    bars, beats = analysis.score.meters.spoken(analysis.harmony.windows["start_tick"])
    rows = [
        (
            str(bar),
            f"{beat:.4g}",
            window["label"],
            " ".join(window["ratios"].values()),
            cents(window["displacement_cents"]),
            ", ".join(f"{count} {role}" for role, count in window["roles"].items()),
        )
        for window, bar, beat in zip(
            window_rows(analysis, tuning), bars.tolist(), beats.tolist(), strict=True
        )
    ]
    headers = ("bar", "beat", "chord", "ratios above the root", "displacement", "non-chord tones")
    return table(headers, rows, right=(0, 1, 4)) + _places(analysis, tuning)


def _places(analysis: Analysis, tuning: Tuning) -> str:
    """Return the places where purity or a line gave way, the largest of each."""
    if not len(analysis.harmony.windows):
        return "\nNo pitched notes, so there is nothing to tune.\n"
    impure = _largest(analysis, tuning.compromises, "Purity gave way in {}")
    shifts = _largest(analysis, tuning.shifts, "A line gave way in {}")
    return (
        impure or "\nPurity gave way nowhere: every consonant interval is within 2 cents of its ratio.\n"
    ) + shifts


def _largest(analysis: Analysis, places: Sequence[Compromise], heading: str) -> str:
    if not places:
        return ""
    worst = sorted(places, key=lambda found: -abs(found.cents))[:SHOWN_PLACES]
    rows = [
        (analysis.score.where(found.tick), cents(found.cents), found.reason)
        for found in sorted(worst, key=lambda found: found.tick)
    ]
    more = len(places) - len(worst)
    heading = "\n" + heading.format(count(len(places), "place"))
    heading += f"; the {len(worst)} largest:\n" if more else ":\n"
    return heading + table(("where", "cents", "why"), rows, right=(1,))

"""`retune passages`: when to retune an instrument that cannot be retuned while it plays."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from retune.cli.options import (
    input_argument,
    json_option,
    options_from,
    plan_option,
    purity_options,
    quiet_option,
)
from retune.cli.printing import print_json, print_remarks
from retune.cli.tables import cents, table
from retune.cli.tuned import analyzed_input
from retune.cli.values import Word
from retune.files import called
from retune.wording import count

if TYPE_CHECKING:
    from retune.options import Options
    from retune.passages import Passages
    from retune.pipeline import Analysis
    from retune.score import Score
    from retune.score.model import FloatArray

CAUTION = (
    "Caution: raising a string's pitch adds tension and can break it. Tune up slowly, keep your face away from "
    "the strings, and leave pianos and harps to a qualified technician."
)


@click.command("passages")
@input_argument
@click.option(
    "--tolerance",
    "tolerance_cents",
    type=float,
    default=5.0,
    metavar="CENTS",
    help="How far a chord tone may lie from pure, in cents. Default: 5 cents.",
)
@click.option(
    "--by",
    "slots",
    type=Word(("note-name", "part")),
    default="note-name",
    help="One offset for each of the twelve note names, or one for each part (a string, a channel). "
    "Default: note-name.",
)
@json_option
@purity_options
@plan_option
@quiet_option
def command(
    input_path: str,
    tolerance_cents: float,
    slots: str,
    as_json: bool,
    plan_path: str | None,
    quiet: bool,
    **values: Any,
) -> None:
    """Find the fewest passages of INPUT that one fixed table of offsets each can serve.

    For an instrument that can only be retuned between passages: a keyboard with a twelve-note table, a harp, the
    strings of a guitar.
    """
    options = options_from(values)
    analysis = analyzed_input(input_path, options, plan_path)
    from retune.passages import find_passages

    print_remarks((*analysis.score.remarks, *analysis.harmony.remarks), name=called(input_path), quiet=quiet)
    found = find_passages(
        analysis.score,
        analysis.harmony,
        analysis.ratios,
        tolerance_cents=tolerance_cents,
        drift_limit_cents=_drift_limits(analysis, options),
        by_part=slots == "part",
    )
    if as_json:
        print_json({**found.as_json(), "caution": CAUTION})
    elif not quiet:
        click.echo(_text(analysis.score, found), nl=False)


def _drift_limits(analysis: Analysis, options: Options) -> float | FloatArray:
    """Return the drift limit, or that of each window where there is a plan [cents]."""
    if analysis.plan is None:
        return options.drift_limit_cents
    from retune.plan import window_limits

    return window_limits(analysis.plan, analysis.score, analysis.harmony, options)[0]


def _text(score: Score, found: Passages) -> str:
    rows = []
    for number, passage in enumerate(found.passages, 1):
        told = passage.retuned if number > 1 else range(len(found.slots))
        what = ", ".join(f"{found.slots[slot]} {cents(passage.offsets_cents[slot])}" for slot in told)
        rows.append(
            [str(number), score.where(passage.start_tick), f"{passage.worst_cents:.1f}", what or "nothing"]
        )
    head = (
        f"{count(len(found.passages), 'passage')}, {count(found.retunings, 'retuning')}; every chord tone within "
        f"{count(found.tolerance_cents, 'cent')} of pure\n\n"
    )
    body = table(["passage", "from", "worst", "tune to (cents from equal temperament)"], rows, right=[0, 2])
    return head + body + "\n" + CAUTION + "\n"

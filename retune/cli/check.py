"""`retune check`: decode an original and its retuned file, and say what changed, what is lost, how pure it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from retune.cli.options import DEFAULT, json_option, options_from, quiet_option
from retune.cli.printing import print_json, print_remarks
from retune.cli.tables import table
from retune.cli.values import PrimeLimit
from retune.collector import without_collector
from retune.files import called, read_input
from retune.wording import count, plain

if TYPE_CHECKING:
    from collections.abc import Sequence

    from retune.check import CheckReport
    from retune.options import Options

SHOWN_PLACES = 5
COUNTS = {
    "notes_lost": "notes missing",
    "notes_added": "notes too many",
    "releases_moved": "releases at another tick",
    "velocities_changed": "notes of another velocity",
    "release_velocities_changed": "releases of another velocity",
    "programs_changed": "notes of another program",
    "controllers_changed": "notes of another volume, pan, expression or sustain pedal",
    "settings_changed": "controllers, pressures or parameters not in force for their notes",
    "releases_lost": "notes never released",
    "ranges_unsaid": "notes bent by a range that only receivers of MPE zones know",
    "percussion_changed": "drums that became notes, or the reverse",
    "tracks_changed": "notes in another track",
    "events_lost": "other events missing",
    "events_added": "other events too many",
    "names_lost": "tracks of another name",
    "ticks_lost": "ticks the file ends early",
}


@click.command("check")
@click.argument("original_path", metavar="ORIGINAL")
@click.argument("retuned_paths", metavar="RETUNED...", nargs=-1, required=True)
@click.option(
    "--reference",
    "reference_hz",
    type=float,
    metavar="HZ",
    help=f"Pitch of the A above middle C that RETUNED is meant for. Default: {DEFAULT.reference_hz:g} Hz.",
)
@click.option(
    "--prime-limit",
    type=PrimeLimit(),
    help="Largest prime in the ratios that count as pure; give what RETUNED was made with. "
    f"Default: {DEFAULT.prime_limit}.",
)
@json_option
@quiet_option
def command(
    original_path: str,
    retuned_paths: tuple[str, ...],
    reference_hz: float | None,
    prime_limit: int | None,
    as_json: bool,
    quiet: bool,
) -> int:
    """Decode ORIGINAL and RETUNED as a receiver would and compare them.

    Both are MIDI files; RETUNED may also be a MIDI 2.0 clip, or several files of one conversion that play
    together. Exit status: 0 if nothing but the tuning changed, 1 if anything was lost or changed.
    """
    options = options_from({"reference_hz": reference_hz, "prime_limit": prime_limit})
    original, retuned = read_input(original_path), [read_input(path) for path in retuned_paths]
    report = _report(
        original, retuned, options, (called(original_path), ", ".join(map(called, retuned_paths)))
    )
    print_remarks(report.remarks, name=called(retuned_paths[0]), quiet=quiet)
    if as_json:
        print_json(report.as_json())
    elif not quiet:
        click.echo(_text(report), nl=False)
    return 0 if report.ok else 1


@without_collector
def _report(
    original: bytes, retuned: Sequence[bytes], options: Options, names: tuple[str, str]
) -> CheckReport:
    from retune.check import check
    from retune.harmony import find_harmony
    from retune.score import read_score

    score = read_score(original, name=names[0])
    return check(score, retuned, harmony=find_harmony(score), options=options, names=names)


def _text(report: CheckReport) -> str:
    from retune.cli.summary import figures_table

    parts = [_fidelity(report), figures_table(report.before, report.after), _bars(report), _lines(report)]
    return "\n".join(part for part in parts if part)


def _fidelity(report: CheckReport) -> str:
    """What was kept, or a row for each kind of loss and a line for its first place."""
    kept = report.fidelity
    music = f"{count(kept.notes, 'note')} and {count(kept.events, 'other event')}"
    music += f" on {count(report.channels, 'channel')}"
    if report.ok:
        return f"faithful: {music}, nothing but the tuning changed\n"
    counts = kept.as_dict()
    rows = [(words, str(counts[name])) for name, words in COUNTS.items() if counts[name]]
    problems = "".join(f"{plain(problem)}\n" for problem in report.problems)
    return f"NOT FAITHFUL: {music}\n\n" + table(("what", "count"), rows, right=(1,)) + "\n" + problems


def _bars(report: CheckReport) -> str:
    """The bars furthest from pure."""
    rows = [
        (
            str(bar.bar),
            "–" if bar.before_cents is None else f"{bar.before_cents:.1f}",
            f"{bar.after_cents:.1f}",
        )
        for bar in report.worst_bars
        if bar.after_cents >= 1.0
    ]
    if not rows:
        return ""
    return "least pure bars, mean distance in cents:\n" + table(
        ("bar", "before", "after"), rows, right=(0, 1, 2)
    )


def _lines(report: CheckReport) -> str:
    """Repeated notes that shift, and steps of unusual size."""
    text = ""
    for places, heading in (
        (report.lines.comma_jumps, "repeated notes that shift by more than half a comma"),
        (report.lines.odd_steps, "melodic steps outside 70 to 130 and 170 to 235 cents"),
    ):
        if places:
            more = f", the first {SHOWN_PLACES}" if len(places) > SHOWN_PLACES else ""
            text += f"{heading}: {len(places)}{more}\n"
            text += "".join(f"  {plain(place)}\n" for place in places[:SHOWN_PLACES])
    return text

"""Options that several commands share, and the files they name.

A command takes its options by the decorators below and makes one `Options` of them with `options_from`:

    @click.command()
    @input_argument
    @tuning_options
    @encoding_options
    @plan_option
    def command(input_path: str, plan_path: str | None, **values: Any) -> None:
        options, plan = options_from(values), read_plan_file(plan_path, beside=input_path)
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from retune.cli.values import Bars, Limit, PrimeLimit, Word
from retune.errors import OptionError
from retune.files import STANDARD_STREAM
from retune.options import CHORDS, ENCODINGS, WHEN_FULL, Options
from retune.settings import settings_here, with_temperament_files
from retune.wording import plain

if TYPE_CHECKING:
    from retune.plan import Plan
    from retune.settings import Settings

Function = TypeVar("Function", bound=Callable[..., Any])

DEFAULT = Options()


def preset_names() -> tuple[str, ...]:
    """Return the names of the presets."""
    from retune.tuning.presets import PRESETS

    return tuple(PRESETS)


_PRIME_LIMIT = click.option(
    "--prime-limit",
    type=PrimeLimit(),
    help=f"Largest prime allowed in the ratios. Default: {DEFAULT.prime_limit}.",
)
_DRIFT_LIMIT = click.option(
    "--drift-limit",
    "drift_limit_cents",
    type=Limit(),
    metavar="CENTS|none",
    help="How far the root of a chord may move from its home pitch, in cents; `none` lets the piece "
    f"wander. Default: {DEFAULT.drift_limit_cents:g} cents.",
)
_CHORDS = click.option(
    "--chords",
    type=Word(CHORDS),
    help="Find the chords in the notes, or take them from chord symbols in the file's markers. "
    f"Default: {DEFAULT.chords}.",
)
_TUNING = (
    click.option(
        "--preset",
        type=Word(preset_names),
        help="A named set of limits; options given beside it override it. Default: balanced.",
    ),
    _PRIME_LIMIT,
    _DRIFT_LIMIT,
    click.option(
        "--hold-limit",
        "hold_limit_cents",
        type=Limit(),
        metavar="CENTS|none",
        help="How far a note may move while it sounds on, in cents; `none` lets it move freely. "
        f"Default: {DEFAULT.hold_limit_cents:g} cent.",
    ),
    click.option(
        "--reference",
        "reference_hz",
        type=float,
        metavar="HZ",
        help=f"Pitch of the A above middle C, 380 to 500 hertz. Default: {DEFAULT.reference_hz:g} Hz.",
    ),
    click.option(
        "--home",
        metavar="mean|tonic|NOTE",
        help="What stays at the reference pitch: the mean of all roots, the tonic of each key, or a note "
        f"such as A. Default: {DEFAULT.home}.",
    ),
    click.option(
        "--fixed",
        multiple=True,
        metavar="PART",
        help="A part that must not be touched: its name, the beginning of it, its number or program:0-7; repeatable. "
        "PART=TEMPERAMENT says how it is tuned, and the file plays it so. Default: no part.",
    ),
    _CHORDS,
)

_PURITY = (_PRIME_LIMIT, _DRIFT_LIMIT, _CHORDS)

_ENCODING = (
    click.option(
        "--encoding",
        type=Word(ENCODINGS),
        help="How the tuning is carried: bend (any synthesizer), mpe, mts or mts-octave (MIDI Tuning "
        f"Standard), midi2 (a clip, to be named .midi2). Default: {DEFAULT.encoding}.",
    ),
    click.option(
        "--bend-range",
        "bend_range_semitones",
        type=int,
        metavar="SEMITONES",
        help="Bend range of the channels used, 1 to 96 semitones: the file sets it, and a synthesizer that ignores "
        "that must be set to the same. "
        f"Default: {DEFAULT.bend_range_semitones} semitones.",
    ),
    click.option(
        "--glide",
        "glide_ms",
        type=float,
        metavar="MS",
        help="Spread a change of pitch of a sounding note over this many milliseconds. "
        f"Default: {DEFAULT.glide_ms:g} ms.",
    ),
    click.option(
        "--when-full",
        type=Word(WHEN_FULL),
        help="When more pitches sound at once than there are channels: share channels, use more ports, or "
        f"write several files. Default: {DEFAULT.when_full}.",
    ),
    click.option(
        "--keep-channel-10-free/--use-channel-10",
        "keep_channel_10_free",
        default=None,
        help="With mpe: whether channel 10, which many receivers keep for drums, stays without notes of a zone or "
        "may carry some. Default: free.",
    ),
)

input_argument = click.argument("input_path", metavar="INPUT")
plan_option = click.option(
    "--plan",
    "plan_path",
    metavar="FILE",
    help="Obey this plan, a TOML file as `retune analyze --plan FILE` writes it. Default: none.",
)
quiet_option = click.option(
    "--quiet", "-q", is_flag=True, help="Print no remarks and no table; errors still show."
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON on stdout instead of a table.")


def output_option(help_text: str) -> Callable[[Function], Function]:
    """Add -o OUTPUT, which must be given and arrives as `output_path`."""
    return click.option("-o", "--output", "output_path", metavar="OUTPUT", required=True, help=help_text)


def part_option(help_text: str) -> Callable[[Function], Function]:
    """Add --part PART, which may be given several times; all arrive as `parts`."""
    return click.option("--part", "parts", multiple=True, metavar="PART", help=help_text)


def bars_option(verb: str) -> Callable[[Function], Function]:
    """Add --bars, which arrives as first and last bar; `verb` says what is done with them."""
    help_text = f"{verb} only this bar or range of bars, such as 5-8. Default: all."
    return click.option("--bars", type=Bars(), help=help_text)


def title_option(heading: str) -> Callable[[Function], Function]:
    """Add --title TEXT; `heading` says what it is."""
    help_text = f"{heading}. Default: the title in the file, or its name."
    return click.option("--title", metavar="TEXT", help=help_text)


def with_options(options: Iterable[Callable[[Any], Any]], function: Function) -> Function:
    """Add options to a command; help lists them in the order given."""
    for option in reversed(tuple(options)):
        function = option(function)
    return function


def tuning_options(function: Function) -> Function:
    """Add --preset --prime-limit --drift-limit --hold-limit --reference --home --fixed --chords."""
    return with_options(_TUNING, function)


def purity_options(function: Function) -> Function:
    """Add --prime-limit --drift-limit --chords: what a tuning obeys that knows chords alone, and no lines."""
    return with_options(_PURITY, function)


def encoding_options(function: Function) -> Function:
    """Add --encoding --bend-range --glide --when-full --keep-channel-10-free."""
    return with_options(_ENCODING, function)


def settings_from(values: dict[str, Any]) -> Settings:
    """Return what `retune.toml` and the command line say; the command line goes before the file.

    Takes the values of the decorators above out of `values`. Raises `OptionError`.
    """
    names = {field.name for field in dataclasses.fields(Options)}
    given = {name: values.pop(name) for name in tuple(values) if name in names}
    given = {name: value for name, value in given.items() if value is not None and value != ()}
    return settings_here().overridden(values.pop("preset", None), given)


def options_from(values: dict[str, Any]) -> Options:
    """Return the options a command is to obey: see `settings_from`, with presets and defaults filled in."""
    return with_temperament_files(settings_from(values).options())


def read_plan_file(path: str | None, *, beside: str) -> Plan | None:
    """Return the plan in a file, None for no path; `beside`: where the music comes from.

    Raises `PlanError`, `InputError`, and a usage error if both are to come from standard input.
    """
    if path is None:
        return None
    if path == beside == STANDARD_STREAM:
        raise click.UsageError("the music and the plan both want standard input; name a file for one of them")
    from retune import plan

    return plan.read_plan_file(path)


def refuse_mixing(outputs: Mapping[str, str | None], *, as_json: bool) -> None:
    """Refuse two things that would run into each other on standard output; raises a usage error.

    `outputs`: what one types to write there (such as `--plan -`) → the path given.
    """
    wanting = ["--json"] if as_json else []
    wanting += [typed for typed, path in outputs.items() if path == STANDARD_STREAM]
    if len(wanting) > 1:
        raise click.UsageError(
            f"{wanting[0]} and {wanting[1]} both want standard output; name a file for one of them"
        )


def ending(path: str, legal: tuple[str, ...], *, for_stdout: str | None = None) -> str:
    """Return the ending of a file name, one of `legal`; raises `OptionError` for any other."""
    if path == STANDARD_STREAM and for_stdout is not None:
        return for_stdout
    if not path:
        raise OptionError("the name of an output is empty; say where to write")
    found = Path(path).suffix.lower().lstrip(".")
    if found not in legal:
        endings = ", ".join(f".{name}" for name in legal)
        raise OptionError(f"{plain(path)}: the ending says what to write; use one of {endings}")
    return found

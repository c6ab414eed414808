"""Options, reading and printing that several commands share.

A command takes its options by the decorators below and makes one `Options` of them with `options_from`:

    @click.command()
    @tuning_options
    @encoding_options
    @plan_option
    def command(input_path: str, plan_path: str | None, **values: Any) -> None:
        options, plan = options_from(values), read_plan_file(plan_path, beside=input_path)
"""

from __future__ import annotations

import dataclasses
import json
import math
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from retune.files import STANDARD_STREAM
from retune.options import CHORDS, ENCODINGS, PRIME_LIMITS, WHEN_FULL, Options
from retune.settings import settings_here, with_temperament_files
from retune.wording import nearest, plain

if TYPE_CHECKING:
    from retune.errors import Remark
    from retune.plan import Plan
    from retune.settings import Settings

Function = TypeVar("Function", bound=Callable[..., Any])

DEFAULT = Options()
SHOWN_REMARKS = 5  # of one kind; reports and manifests have them all


class Word(click.ParamType):  # type: ignore[type-arg]
    """A value out of a short list; a mistyped one is answered with the nearest."""

    name = "word"

    def __init__(self, legal: Sequence[str] | Callable[[], Sequence[str]]) -> None:
        self._legal = legal

    @property
    def legal(self) -> tuple[str, ...]:
        """The legal words; a list that needs an import is fetched only here."""
        return tuple(self._legal() if callable(self._legal) else self._legal)

    def get_metavar(self, param: click.Parameter, ctx: click.Context | None = None) -> str:
        """Return the legal words as help shows them."""
        return "|".join(self.legal)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the value if it is legal."""
        if value in self.legal:
            return str(value)
        hint = nearest(str(value), self.legal)
        return self.fail(f"{value!r} is not one of {', '.join(self.legal)}{hint}", param, ctx)


class Limit(click.ParamType):  # type: ignore[type-arg]
    """A number of cents of 0 or more, or `none`."""

    name = "cents|none"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the limit [cents], `inf` for none."""
        if isinstance(value, float):
            return value
        if value == "none":
            return math.inf
        try:
            number = float(value)
        except ValueError:
            number = math.nan
        if not 0.0 <= number < math.inf:
            self.fail(f"{value!r} is not a number of cents of 0 or more, or none", param, ctx)
        return number


class PrimeLimit(click.ParamType):  # type: ignore[type-arg]
    """A prime limit for ratios."""

    name = "prime limit"

    legal = tuple(map(str, PRIME_LIMITS))

    def get_metavar(self, param: click.Parameter, ctx: click.Context | None = None) -> str:
        """Return the legal numbers as help shows them."""
        return "|".join(self.legal)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Return the prime limit as a number."""
        if str(value) not in self.legal:
            self.fail(f"{value!r} is not one of {', '.join(self.legal)}", param, ctx)
        return int(value)


def preset_names() -> tuple[str, ...]:
    """Return the names of the presets."""
    from retune.tuning.presets import PRESETS

    return tuple(PRESETS)


_TUNING = (
    click.option(
        "--preset",
        type=Word(preset_names),
        help="A named set of limits; options given beside it go before it. Default: balanced.",
    ),
    click.option(
        "--prime-limit",
        type=PrimeLimit(),
        help=f"Largest prime allowed in the ratios. Default: {DEFAULT.prime_limit}.",
    ),
    click.option(
        "--drift-limit",
        "drift_limit_cents",
        type=Limit(),
        metavar="CENTS|none",
        help="How far the root of a chord may move from its home pitch, in cents; `none` lets the piece "
        f"wander. Default: {DEFAULT.drift_limit_cents:g} cents.",
    ),
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
    click.option(
        "--chords",
        type=Word(CHORDS),
        help="Find the chords in the notes, or take them from chord symbols in the file's markers. "
        f"Default: {DEFAULT.chords}.",
    ),
)

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

_PLAN = click.option(
    "--plan",
    "plan_path",
    metavar="FILE",
    help="Obey this plan, a TOML file as `retune analyze --plan FILE` writes it. Default: none.",
)
_QUIET = click.option("--quiet", "-q", is_flag=True, help="Print no remarks and no table; errors still show.")
_JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON on stdout instead of a table.")


def with_options(options: Iterable[Callable[[Any], Any]], function: Function) -> Function:
    """Add options to a command; help lists them in the order given."""
    for option in reversed(tuple(options)):
        function = option(function)
    return function


def tuning_options(function: Function) -> Function:
    """Add --preset --prime-limit --drift-limit --hold-limit --reference --home --fixed --chords."""
    return with_options(_TUNING, function)


def encoding_options(function: Function) -> Function:
    """Add --encoding --bend-range --glide --when-full --keep-channel-10-free."""
    return with_options(_ENCODING, function)


def plan_option(function: Function) -> Function:
    """Add --plan FILE, which arrives as `plan_path`."""
    return with_options((_PLAN,), function)


def quiet_option(function: Function) -> Function:
    """Add --quiet."""
    return with_options((_QUIET,), function)


def json_option(function: Function) -> Function:
    """Add --json, which arrives as `as_json`."""
    return with_options((_JSON,), function)


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


def to_json(content: Any) -> bytes:
    """Return a value as one line of JSON in UTF-8; numbers that are not finite have no place in it."""
    compact = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    try:
        return compact.encode(content).encode() + b"\n"
    except UnicodeEncodeError:  # a file name that is not Unicode: JSON can escape it
        return json.dumps(content, separators=(",", ":"), allow_nan=False).encode() + b"\n"


def print_json(content: Any) -> None:
    """Print a value as one JSON document on stdout, in UTF-8 whatever the terminal speaks."""
    click.echo(to_json(content), nl=False)


def print_remarks(remarks: Iterable[Remark], *, name: str = "", quiet: bool = False) -> None:
    """Print each remark as one line on stderr; of a long row of one kind only the first, and how many follow."""
    if quiet:
        return
    prefix = f"{plain(name)}: " if name else ""
    remarks = tuple(remarks)
    number_of, shown = Counter(remark.code for remark in remarks), Counter[str]()
    for remark in remarks:
        shown[remark.code] += 1
        if shown[remark.code] <= SHOWN_REMARKS:
            print(f"retune: {prefix}{plain(str(remark))}", file=sys.stderr)
        elif shown[remark.code] == SHOWN_REMARKS + 1:
            more = number_of[remark.code] - SHOWN_REMARKS
            print(f"retune: {prefix}and {more} more like these ({remark.code})", file=sys.stderr)


def print_written(path: str, *, quiet: bool = False) -> None:
    """Say on stdout that a file was written, unless stdout is what was written to."""
    if not quiet and path != STANDARD_STREAM:
        click.echo(f"written: {plain(path)}")

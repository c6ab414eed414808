"""The command `retune`: finds the subcommand, and turns every error into one line and an exit status.

Subcommands are imported when they are called, not before, so that `--version` and `--help` answer at once.
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import io
import os
import sys
from typing import TYPE_CHECKING

import click

from retune import __version__
from retune.errors import OutputError, RetuneError
from retune.files import TERMINATIONS, termination_unwinds
from retune.wording import nearest, plain

if TYPE_CHECKING:
    from collections.abc import Sequence

COMMANDS = {
    "convert": ("retune.cli.convert", "Retune a MIDI file, or many."),
    "analyze": ("retune.cli.analyze", "Show the harmony, ratios and tuning found; write a plan to edit."),
    "compare": ("retune.cli.compare", "Measure a file under every tuning, side by side."),
    "check": ("retune.cli.check", "Decode an original and its retuned file and say what changed."),
    "preview": ("retune.cli.preview", "Write sound or a page to hear and see a tuning."),
    "parts": ("retune.cli.parts", "Write the cents each singer or player needs."),
    "plot": ("retune.cli.plot", "Draw the tuning of a piece as a picture."),
    "passages": (
        "retune.cli.passages",
        "Find the fewest retunings for an instrument that cannot retune as it plays.",
    ),
}
"""Name → module and one-line summary. The module holds a click command named `command`."""

INTERRUPTED = 130  # 128 + SIGINT, as shells count (common practice, no source)
CRASHED = 70  # EX_SOFTWARE of sysexits.h (BSD)
GARBAGE_THRESHOLD = (
    100_000  # objects between two searches for cycles; imports alone make as many, all to stay
)
OPTION_LIKENESS = (
    0.65  # of an option to be proposed: --encoding for --tuning (0.57) would be a guess at random
)
_PLAIN_WORDS = {
    "not a valid float": "not a number",
    "not a valid integer range": "not a whole number",
    "not a valid integer": "not a whole number",
}
TRACEBACK_OPTION = "--traceback"
TRACEBACK_VARIABLE = "RETUNE_TRACEBACK"


class LazyGroup(click.Group):
    """A group whose commands are imported on use."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands in the order of the road."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return a command, or None if there is none of this name."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(COMMANDS[cmd_name][0])
        command: click.Command = module.command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the command of the first argument; a mistyped one is answered with the nearest."""
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            ctx.fail(f"no such command {args[0]!r}{_command_meant(args[0])}")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands from the table, importing none of them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, summary) for name, (_, summary) in COMMANDS.items()])


@click.group(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="`retune COMMAND --help` explains a command and its options.",
)
@click.version_option(__version__, message="%(prog)s %(version)s")
@click.option(
    TRACEBACK_OPTION,
    is_flag=True,
    expose_value=False,
    help=f"Show the trace of a fault in retune itself (anywhere on the line; or set {TRACEBACK_VARIABLE}=1).",
)
def retune() -> None:
    """Retune MIDI files to just intonation: chords pure, lines steady, drift bounded."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit status; of an error the user sees one line, no trace."""
    _start_lightly()
    _speak_any_encoding()
    try:
        with termination_unwinds():
            return _run(arguments)
    except SystemExit as end:
        if not isinstance(end.code, int) or end.code not in TERMINATIONS:
            raise
        return _fail("stopped", end.code)
    finally:
        _empty_stdout()


def _run(arguments: Sequence[str] | None) -> int:
    """Run the command line; see `main`."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    show_trace = TRACEBACK_OPTION in given or bool(os.environ.get(TRACEBACK_VARIABLE))
    given = [argument for argument in given if argument != TRACEBACK_OPTION] or ["--help"]
    try:
        with retune.make_context("retune", given) as context:  # click's own main() adds lines of its own
            return int(retune.invoke(context) or 0)
    except click.exceptions.Exit as end:
        return end.exit_code
    except RetuneError as error:
        return _fail(str(error), error.exit_status)
    except click.ClickException as error:
        return _fail(usage_line(error, given), error.exit_code)
    except (KeyboardInterrupt, click.Abort):
        return _fail("stopped", INTERRUPTED)
    except BrokenPipeError:
        _point_stdout_nowhere()
        return 0
    except OSError as error:  # no edge knew it: one without a file is of the standard streams
        where = plain(str(error.filename or "standard output"))
        reason = str(error.strerror or error).lower()
        return _fail(f"{where}: cannot be used ({reason})", OutputError.exit_status)
    except Exception as error:  # the last resort: a fault of the program itself
        if show_trace:
            raise
        what = f"{type(error).__name__}: {error}"
        return _fail(f"a fault in retune itself ({what}); run with {TRACEBACK_OPTION} to see more", CRASHED)


def _start_lightly() -> None:
    """Spare what costs a tenth of a short command and gains it nothing."""
    # No matrix here is large enough for threads to pay; and sums come out the same on any number of cores.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    gc.set_threshold(GARBAGE_THRESHOLD)


def usage_line(error: click.ClickException, arguments: Sequence[str] = ()) -> str:
    """Return a usage error as one line, with the nearest legal option or value and where help is."""
    message = error.format_message()
    if isinstance(error, click.NoSuchOption):
        file = next((word for word in arguments if word.startswith("-") and os.path.isfile(word)), None)
        message = (
            f"{plain(file)}: taken for options; say ./{plain(file)}"
            if file
            else _no_such_option(error.option_name, error.ctx)
        )
    for of_programmers, of_everyone in _PLAIN_WORDS.items():
        message = message.replace(of_programmers, of_everyone)
    context = getattr(error, "ctx", None)
    command = next((f" {word}" for word in arguments if word in COMMANDS), "")
    where = context.command_path if context else f"retune{command}"
    return f"{message[:1].lower()}{message[1:].rstrip('.')} (see {where} --help)"


def _command_meant(word: str) -> str:
    """Return what to say behind a word that is no command: the nearest one, or where a file goes."""
    if os.path.exists(word):
        return f"; a file goes to a command, such as: retune convert {plain(word)} -o OUTPUT"
    return nearest(word, COMMANDS)


def _no_such_option(option: str, context: click.Context | None) -> str:
    """Return what to say of an option a command does not have: the nearest one, or that it has a place elsewhere."""
    from retune.settings import NAMES

    if context and context.parent and option.removeprefix("--") in NAMES:
        return f"{option} decides nothing in {context.info_name}; leave it out"
    legal = [name for p in _parameters(context) for name in (*p.opts, *p.secondary_opts)]
    return f"no such option {option!r}{_option_meant(option, legal)}"


def _option_meant(option: str, legal: Sequence[str]) -> str:
    """Return `; nearest: --drift-limit` for `--drift` or `--drift-limt`, "" where nothing is meant for sure."""
    begun = [name for name in legal if name.startswith(option) and len(option) > len("--")]
    if len(begun) == 1:
        return f"; nearest: {begun[0]}"
    bare = {name.lstrip("-"): name for name in legal}  # the dashes are alike in all of them
    found = nearest(option.lstrip("-"), bare, likeness=OPTION_LIKENESS)
    return f"; nearest: {bare[found.rpartition(' ')[2]]}" if found else ""


def _parameters(context: click.Context | None) -> list[click.Parameter]:
    return context.command.get_params(context) if context else []


def _fail(message: str, status: int) -> int:
    line = " ".join(plain(part) for part in message.split())
    if sys.stderr is not None:  # None: closed before we began
        with contextlib.suppress(OSError):
            print(f"retune: {line}", file=sys.stderr, flush=True)
    return status


def _speak_any_encoding() -> None:
    """Let a terminal that has no ♭ in its encoding show its code instead of ending the run."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _empty_stdout() -> None:
    """Write what waits for stdout; drop what cannot be written.

    Or Python would try again at exit, with lines and a status of its own.
    """
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
    except (OSError, ValueError):
        _point_stdout_nowhere()


def _point_stdout_nowhere() -> None:
    """Let a pipe closed early (`retune … | head`) or a full disk print nothing at exit."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())

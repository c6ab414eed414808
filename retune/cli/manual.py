"""The reference of all commands, docs/commands.md, made from the commands themselves.

`python -m retune.cli.manual` prints the page; a test fails when the file differs from it.
"""

from __future__ import annotations

import inspect
from typing import TYPE_CHECKING

import click

from retune.cli.main import COMMANDS, retune

if TYPE_CHECKING:
    from collections.abc import Iterator

_HEAD = """\
# Commands

This page is printed by `python -m retune.cli.manual`. Words in capitals stand for what you fill in.
Facts go to standard output, remarks to standard error, one line each.

Exit status: 0 done; 1 the run's own check found a fault in the result, or some files of a batch failed;
2 wrong usage, unreadable input or output that cannot be written; 130 stopped by the user, 143 by the system,
129 by the end of its terminal; 70 a fault in retune itself (`--traceback`, anywhere on the line, shows its trace).

| command | what it does |
|---|---|
"""


def page() -> str:
    """Return the whole page as Markdown."""
    context = click.Context(retune, info_name="retune")
    text = _HEAD
    text += "".join(
        f"| [`{name}`](#retune-{name}) | {summary} |\n" for name, (_, summary) in COMMANDS.items()
    )
    for name in COMMANDS:
        command = retune.get_command(context, name)
        if command is not None:
            text += "\n" + "\n".join(_section(name, command)) + "\n"
    return text


def _section(name: str, command: click.Command) -> Iterator[str]:
    arguments = [p for p in command.params if isinstance(p, click.Argument)]
    options = [p for p in command.params if isinstance(p, click.Option)]
    yield f"## retune {name}"
    yield ""
    words = " ".join(f"{argument.metavar or (argument.name or '').upper()}" for argument in arguments)
    yield f"    retune {name} {words} [OPTIONS]"
    yield ""
    yield inspect.cleandoc(command.help or "").replace("\b\n", "")
    yield ""
    yield "| option | meaning |"
    yield "|---|---|"
    for option in options:
        yield f"| `{_form(option)}` | {_cell(option.help or '')} |"


def _form(option: click.Option) -> str:
    """Return `-o, --output OUTPUT` as the user types it."""
    names = ", ".join((*option.opts, *option.secondary_opts))
    metavar = "" if option.is_flag else option.metavar or _words(option.type)
    return _cell(f"{names} {metavar}".strip())


def _words(kind: click.ParamType) -> str:  # type: ignore[type-arg]
    legal = getattr(kind, "legal", None) or getattr(kind, "choices", None)
    return "|".join(str(word) for word in legal) if legal else kind.name.upper()


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


if __name__ == "__main__":
    print(page(), end="")

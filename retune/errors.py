"""The error tree and the exit status each branch gives the command line.

RetuneError                something went wrong that the user can act on
├── ArgumentError          an argument of a Python call is of the wrong kind; also a `TypeError` (2)
├── OptionError            an option, plan or argument says something that cannot be obeyed (2)
│   └── PlanError          … in a plan file: names file, line and field (2)
├── InputError             the input cannot be read as music (2)
├── OutputError            the output cannot be written (2)
├── CheckFailed            the run's own check found a fault in what it wrote; nothing was kept (1)
└── SomeFilesFailed        a batch ended with files that could not be converted (1)

Anything that loses nothing, or loses a little and says how much, is a `Remark`: it is carried in the
result of the stage that noticed it, printed to stderr and listed in the report.
"""

from __future__ import annotations

from dataclasses import dataclass


class RetuneError(Exception):
    """Base of every error a user may meet; the message is one line: what, where, what to do."""

    exit_status = 2


class ArgumentError(RetuneError, TypeError):
    """An argument of a Python call that is of the wrong kind."""


class OptionError(RetuneError):
    """An option or argument that cannot be obeyed."""


class PlanError(OptionError):
    """A plan file that cannot be obeyed; the message names file, line and field."""


class InputError(RetuneError):
    """Input that cannot be read as music."""


class OutputError(RetuneError):
    """Output that cannot be written."""


class CheckFailed(RetuneError):
    """The written file does not decode to what was intended."""

    exit_status = 1


class SomeFilesFailed(RetuneError):
    """A batch ended, but not every file could be converted."""

    exit_status = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """Something the user should know that did not stop the work.

    `code` is a short stable slug ("mended-track-length", "channels-full"), `message` one plain line,
    `where` a place a person can find ("bar 17, beat 3", "track 2, byte 118") or "".
    """

    code: str
    message: str
    where: str = ""

    def __str__(self) -> str:
        return f"{self.where}: {self.message}" if self.where else self.message

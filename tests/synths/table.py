"""Print the table of docs/receivers.md: `python -m tests.synths.table` from the project's folder.

Each cell is the mean and the largest distance, in cents, between what a receiver sounds and what the file says.
"""

from __future__ import annotations

from tests.synths.probes import CENTS, PROBES, expectations
from tests.synths.receivers import RECEIVERS, Receiver, hear

DEAF_CENTS = 2.5  # moves less than this, and never with the file: the receiver ignores it


def errors(receiver: Receiver, probe: str) -> list[float]:
    """Heard less meant, a value a note [cents]."""
    heard = hear(receiver, PROBES[probe], expectations())
    return [sound - meant for sound, meant in zip(heard, CENTS, strict=True)]


def cell(receiver: Receiver, probe: str) -> str:
    """Mean / largest distance, or "no" where the file moves nothing."""
    found = errors(receiver, probe)
    heard = [error + meant for error, meant in zip(found, CENTS, strict=True)]
    if max(map(abs, heard)) < DEAF_CENTS:
        return "no"
    distances = [abs(error) for error in found]
    return f"{sum(distances) / len(distances):.2f} / {max(distances):.2f}"


def rows() -> list[list[str]]:
    """Header and one row a probe, for the receivers that are installed."""
    present = [receiver for receiver in RECEIVERS if not receiver.missing]
    head = ["carried by", *(f"{receiver.name} {receiver.version}" for receiver in present)]
    return [head, *([probe, *(cell(receiver, probe) for receiver in present)] for probe in PROBES)]


def main() -> None:
    """Print the table as Markdown."""
    head, *body = rows()
    for row in (head, ["---"] * len(head), *body):
        print("| " + " | ".join(row) + " |")


if __name__ == "__main__":
    main()

"""What the search for passages finds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """Some windows in a row, served by one fixed table.

    `offsets_cents` holds what each slot (a pitch class, or a part) is tuned to, from equal temperament. A slot
    that no chord tone of the passage uses keeps what it had before; until its first use it has what it will be wanted
    for then, and 0 if it never is. `retuned` holds the slots that change to a tenth of a cent when the passage begins;
    none do for the first. `worst_cents` is how far the worst chord tone lies from pure.
    """

    first_window: int
    last_window: int  # included
    start_tick: int
    end_tick: int
    offsets_cents: tuple[float, ...]
    retuned: tuple[int, ...]
    worst_cents: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Passages:
    """The fewest passages, in order, and what their slots are called."""

    slots: tuple[str, ...]
    passages: tuple[Passage, ...]
    tolerance_cents: float

    @property
    def retunings(self) -> int:
        """How many times the player has to stop and retune."""
        return sum(1 for passage in self.passages if passage.retuned)

    def as_json(self) -> dict[str, Any]:
        """Everything as JSON-able values."""
        return {
            "format": 1,
            "tolerance_cents": self.tolerance_cents,
            "slots": list(self.slots),
            "retunings": self.retunings,
            "passages": [
                {
                    "start_tick": p.start_tick,
                    "end_tick": p.end_tick,
                    "windows": [p.first_window, p.last_window],
                    "offsets_cents": list(p.offsets_cents),
                    "retuned": [self.slots[slot] for slot in p.retuned],
                    "worst_cents": p.worst_cents,
                }
                for p in self.passages
            ],
        }

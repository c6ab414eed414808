"""The zones of MPE on one port: which channel manages which (M1-100-UM v1.1, 2.2.1-2.2.3)."""

from __future__ import annotations

from dataclasses import dataclass, field

from retune.constants import CHANNELS_PER_PORT

LOWER, UPPER = 0, CHANNELS_PER_PORT - 1
"""Manager channels, zero-based: 2.2.1."""


@dataclass(slots=True)
class Zones:
    """The two zones that a port may have."""

    sizes: dict[int, int] = field(default_factory=lambda: {LOWER: 0, UPPER: 0})  # manager → members

    def configure(self, manager: int, count: int) -> None:
        """Make, change or end a zone; the later of two wins where they would overlap."""
        self.sizes[manager] = min(count, UPPER)
        if count:
            other = UPPER - manager
            self.sizes[other] = max(0, min(self.sizes[other], UPPER - 1 - self.sizes[manager]))

    def members(self, manager: int) -> range:
        """Member channels of a manager, none if it has no zone."""
        count = self.sizes.get(manager, 0)
        return range(1, count + 1) if manager == LOWER else range(UPPER - count, UPPER)

    def manager_of(self, channel: int) -> int | None:
        """The manager in whose zone a channel is a member."""
        if 1 <= channel <= self.sizes[LOWER]:
            return LOWER
        return UPPER if UPPER - self.sizes[UPPER] <= channel < UPPER else None

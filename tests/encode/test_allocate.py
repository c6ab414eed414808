"""Notes put on channels one by one, and put elsewhere after all."""

from __future__ import annotations

import numpy as np

from retune.encode.placing.allocate import Allocator
from retune.encode.placing.channels import Lane, Lanes
from retune.encode.placing.demand import Demand
from retune.encode.survey.wanted import Wanted


def two_notes_at_once() -> Allocator:
    """One wants 0, the other 50 steps and 60 from tick 240; two channels."""
    ons, offs, zeros = np.array([0, 2]), np.array([4, 6]), np.zeros(2, np.int64)
    ticks, keys = np.full(2, 480), np.array([60, 64])
    demand = Demand(np.arange(2), zeros, zeros, keys, ons, offs, offs, zeros, ticks, ticks)
    first, of_row = np.array([0, 1, 3]), np.array([0, 1, 1])
    wanted = Wanted(first, of_row, np.array([0, 0, 240]), np.array([0, 50, 60]), 0.0)
    return Allocator(demand, wanted, Lanes(homes={0: Lane(0)}, pool=[Lane(1)], quota={0: 2}))


def test_a_note_that_gets_a_channel_of_its_own_after_all_no_longer_shares():
    allocator = two_notes_at_once()
    first, second = allocator.requests
    home, other = allocator.lanes.homes[0], allocator.lanes.pool[0]
    allocator.put(first, home, joins=False)
    allocator.put(second, home, joins=True)
    assert allocator.shared == {1: ((0, 0),)}
    allocator.put(second, other, joins=False)
    assert allocator.shared == {}
    assert allocator.placed[1] == (other, 50)
    assert other.slots[0].course == [(0, 50), (240, 60)]

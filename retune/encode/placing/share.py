"""What happens when more tunings sound at once than there are channels.

Notes that start together are shared out anew over the channels that are not yet taken by notes that sound:
close tunings go together on a channel tuned half-way between the outermost of them, so that the largest error
is as small as it can be (the best partition of points on a line into k groups: group greedily within a width,
find the smallest width by bisection). Notes that sound already are not moved.

Where notes come one after another, it can be better to put close tunings together before the channels run
out. That is tried with several widths, and the placement with the smallest largest error is kept.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from math import inf

import numpy as np
from numpy.typing import NDArray

from retune.arrays import distinct
from retune.encode.placing.allocate import Allocator
from retune.encode.placing.channels import Lane, Lanes
from retune.encode.placing.demand import Demand, Move, Request
from retune.encode.survey.wanted import Wanted

WIDEST_CENTS = 1e6
WIDTHS_CENTS = (
    0.0,
    0.25,
    0.5,
    1.0,
    2.0,
    4.0,
    8.0,
    16.0,
)  # tried in turn; a finer search gained nothing worth having


def place_notes(
    demand: Demand,
    wanted: Wanted,
    make_lanes: Callable[[], Lanes],
    steps: dict[int, float],
    *,
    joint: bool = True,
) -> Allocator:
    """Give every note of `demand` a channel: the allocator with all of them placed.

    `steps` is the step of each instrument [cents]. `joint`: channels are shared out between all instruments
    where they run out, else within each instrument and slot.
    """
    best = _Run(Allocator(demand, wanted, make_lanes()), steps, joint)
    if not best.allocator.shared:
        return best.allocator
    crowded = _crowded(demand, best.allocator.shared)
    step = np.array([steps[i] for i in demand.instrument.tolist()])
    for width in WIDTHS_CENTS:
        if width >= best.worst_cents:
            break
        close = np.where(crowded, width / step, -1.0)
        attempt = _Run(Allocator(demand, wanted, make_lanes(), close), steps, joint, best.worst_cents)
        if attempt.worst_cents < best.worst_cents:
            best = attempt
    return best.allocator


def _crowded(demand: Demand, shared: dict[int, tuple[Move, ...]]) -> NDArray[np.bool_]:
    """Notes that sound while some note had to share."""
    index = {note: k for k, note in enumerate(demand.note.tolist())}
    ticks = distinct(demand.on_tick[[index[note] for note in shared]])
    k = np.searchsorted(ticks, demand.on_tick, side="left")
    result: NDArray[np.bool_] = (k < len(ticks)) & (ticks[np.minimum(k, len(ticks) - 1)] <= demand.end_tick)
    return result


@dataclass(slots=True)
class _Run:
    """One run of the allocator over all its notes, ended where its error comes to `limit_cents`: it has lost then."""

    allocator: Allocator
    steps: dict[int, float]
    joint: bool
    limit_cents: float = inf
    worst_cents: float = field(init=False, default=0.0)  # largest error at the start of any note that shares

    def __post_init__(self) -> None:
        allocator, requests = self.allocator, self.allocator.requests
        k = settled = 0  # notes of earlier ticks stay where they are
        while k < len(requests) and self.worst_cents < self.limit_cents:
            request = requests[k]
            lane, joins = allocator.choose(request)
            if lane is None:
                k = _share_out(allocator, k, self.steps, self.joint)
            else:
                allocator.put(request, lane, joins=joins)
                k += 1
            if allocator.shared and (k == len(requests) or requests[k].on_tick != request.on_tick):
                self.worst_cents = max(self.worst_cents, self._worst(requests[settled:k]))
                settled = k

    def _worst(self, requests: list[Request]) -> float:
        shared = self.allocator.shared
        errors = (
            abs(shared[r.note][0][1] - r.value) * self.steps[r.instrument]
            for r in requests
            if r.note in shared
        )
        return max(errors, default=0.0)


_NO_LANE = Lane(-1)
_ANYHOW, _IN_ORDER, _ALONE = range(3)
"""How equal keys share a channel: even if their releases cross; if they end in the order they began in; not at all."""


@dataclass(slots=True)
class _Group:
    """Notes of one instrument that start together and may be placed anew."""

    instrument: int
    step: float
    members: list[Request] = field(default_factory=list)
    settled: list[tuple[float, Lane]] = field(default_factory=list)  # cents and channel of notes that sound
    own: list[Lane] = field(default_factory=list)  # free channels that no other may have: home, private ones
    equal_keys: int = _ANYHOW
    near: list[tuple[float, Lane]] | None = (
        None  # of each member the closest settled channel and how far it is
    )

    def clusters(self, width: float) -> tuple[list[tuple[Request, Lane]], list[list[Request]]]:
        """Notes within `width` of a settled channel, and groups of the others no wider than twice that."""
        covered: list[tuple[Request, Lane]] = []
        groups: list[list[Request]] = []
        if self.near is None:
            self.near = [self._nearest(request) for request in self.members]
        for request, (distance, lane) in zip(self.members, self.near, strict=True):
            if distance <= width:
                covered.append((request, lane))
            elif groups and self._fits(request, groups[-1], width):
                groups[-1].append(request)
            else:
                groups.append([request])
        return covered, groups

    def _nearest(self, request: Request) -> tuple[float, Lane]:
        cents = request.value * self.step
        open_to = (s for s in self.settled if self._takes(s[1], request))
        near = min(open_to, key=lambda s: abs(s[0] - cents), default=None)
        return (inf, _NO_LANE) if near is None else (abs(near[0] - cents), near[1])

    def _takes(self, lane: Lane, request: Request) -> bool:
        if self.equal_keys == _ALONE:
            return not lane.has_key(request)
        return self.equal_keys == _ANYHOW or not lane.crosses(request)

    def _fits(self, request: Request, group: list[Request], width: float) -> bool:
        if (request.value - group[0].value) * self.step > 2 * width:
            return False
        if self.equal_keys == _ANYHOW:
            return True
        equal = [other for other in group if other.key == request.key]
        in_order = all((other.on < request.on) == (other.off < request.off) for other in equal)
        return in_order and not (equal and self.equal_keys == _ALONE)


def _share_out(allocator: Allocator, k: int, steps: dict[int, float], joint: bool) -> int:
    """Place all notes that start with request `k` anew; returns the index behind them."""
    requests = allocator.requests
    tick, low, high = requests[k].on_tick, k, k + 1
    while low and requests[low - 1].on_tick == tick:
        low -= 1
    while high < len(requests) and requests[high].on_tick == tick:
        high += 1
    together = requests[low:high]
    if not joint:
        lone = (requests[k].instrument, requests[k].slot)
        together = [r for r in requests[low : k + 1] if (r.instrument, r.slot) == lone]
        high = k + 1
    groups, free = _open(allocator, together, steps, requests[k].slot, joint)
    for group in groups:
        group.members.sort(key=lambda r: (r.value, r.note))
    width = _least_width(groups, len(free))
    plans = [_Plan(group, *group.clusters(width)) for group in groups]
    _use_spare(plans, len(free) - sum(plan.needs for plan in plans))
    for plan in plans:
        _settle(allocator, plan, free)
    (allocator.lanes.pool if joint else allocator.lanes.held[requests[k].instrument]).extend(free)
    return high


def _open(
    allocator: Allocator, together: list[Request], steps: dict[int, float], slot_id: int, joint: bool
) -> tuple[list[_Group], list[Lane]]:
    """The notes to be placed anew, and the channels free for them."""
    lanes = allocator.lanes
    tick, on = together[0].on_tick, together[0].on
    groups: dict[int, _Group] = {}
    held_by = list(lanes.held) if joint else [together[0].instrument]
    # An instrument lends its channel only up to its own next note, which may come later in this tick than the first.
    needed = {request.instrument: request.on for request in reversed(together)}
    free = list(lanes.pool)
    lanes.pool.clear()
    for instrument in held_by:
        held = lanes.held[instrument]
        group = groups[instrument] = _Group(instrument, steps[instrument])
        group.equal_keys = _ALONE if lanes.apart else _ANYHOW
        for lane in list(held):
            lent = lane.home == instrument != lane.user
            since = needed.get(instrument, on) if lent else on
            if lent and lane.end > since:
                continue  # it sounds with another instrument's program
            slot = lane.slots.get(slot_id)
            if slot is not None and slot.end > since and slot.course[0][0] < tick:
                group.settled.append((slot.at(tick) * group.step, lane))
                continue
            if slot is not None and slot.end > since:
                slot.end = on - 1
                lane.end = max(s.end for s in lane.slots.values())
                lane.releases.clear()
            if lane.home == instrument or lane.private:
                group.own.append(lane)
            else:
                held.remove(lane)
                free.append(lane)
    for request in together:
        placed, _ = allocator.placed.get(request.note, (None, 0))
        if placed is None or placed in free or placed in groups[request.instrument].own:
            groups[request.instrument].members.append(request)
    return [group for group in groups.values() if group.members], free


def _least_width(groups: list[_Group], free: int) -> float:
    """Smallest half-width of groups [cents] with which the free channels suffice."""

    def fits(width: float) -> bool:
        needed = (len(group.clusters(width)[1]) - len(group.own) for group in groups)
        return sum(max(0, n) for n in needed) <= free

    low, high = 0.0, 1.0
    if fits(low):
        return low
    while not fits(high):
        low, high = high, 2 * high
        if high > WIDEST_CENTS:  # more equal keys at once than channels: they have to share after all
            for group in groups:
                group.equal_keys, group.near = max(group.equal_keys - 1, _ANYHOW), None
    while high - low > 1e-3:
        middle = (low + high) / 2
        low, high = (low, middle) if fits(middle) else (middle, high)
    return high


@dataclass(slots=True)
class _Plan:
    """Where the notes of a group are to go: beside notes that sound, or in clusters on channels of their own."""

    group: _Group
    covered: list[tuple[Request, Lane]]
    clusters: list[list[Request]]

    @property
    def needs(self) -> int:
        """Free channels wanted besides the instrument's own."""
        return max(0, len(self.clusters) - len(self.group.own))

    def worst(self) -> tuple[float, int]:
        """Largest error [cents], and the place in `covered` (from 0) or `clusters` (from -1 downward) that has it."""
        settled = {id(lane): cents for cents, lane in self.group.settled}
        step = self.group.step
        errors = [(abs(settled[id(lane)] - r.value * step), k) for k, (r, lane) in enumerate(self.covered)]
        errors += [((c[-1].value - c[0].value) * step / 2, -1 - k) for k, c in enumerate(self.clusters)]
        return max(errors, default=(0.0, 0))

    def split(self, place: int) -> None:
        """Give a covered note a channel, or cut a cluster in two at its widest gap."""
        if place >= 0:
            self.clusters.append([self.covered.pop(place)[0]])
            return
        cluster = self.clusters[-1 - place]
        gaps = [b.value - a.value for a, b in pairwise(cluster)]
        cut = 1 + gaps.index(max(gaps))
        self.clusters[-1 - place] = cluster[:cut]
        self.clusters.append(cluster[cut:])


def _use_spare(plans: list[_Plan], spare: int) -> None:
    """Use the channels left over for the notes that are furthest from their tuning."""
    while spare > 0:
        error, place, plan = max(((*p.worst(), p) for p in plans), key=lambda row: row[:2])
        if error <= 0.0:
            return
        before = plan.needs
        plan.split(place)
        spare -= plan.needs - before


def _settle(allocator: Allocator, plan: _Plan, free: list[Lane]) -> None:
    """Place the notes of a group."""
    group = plan.group
    for request, lane in plan.covered:
        allocator.put(request, lane, joins=True)
    for cluster in plan.clusters:
        if group.own:
            lane = group.own.pop(0)
        else:
            lane = free.pop(0)
            allocator.lanes.held[group.instrument].append(lane)
        low, high = cluster[0].value, cluster[-1].value
        _start_cluster(allocator, cluster, lane, (low + high) // 2)


def _start_cluster(allocator: Allocator, cluster: list[Request], lane: Lane, value: int) -> None:
    """Start a channel in the middle tuning of notes that share it."""
    first, *others = cluster
    if all(r.value == value for r in cluster):
        allocator.put(first, lane, joins=False)
    else:
        own = first.value
        first.value, moves, first.moves = value, first.moves, ()
        allocator.put(first, lane, joins=False)
        first.value, first.moves = own, moves
        allocator.shared[first.note] = ((first.on_tick, value),)
    for request in others:
        allocator.put(request, lane, joins=True)

"""A receiver's state as timelines: bends, their ranges, tunings, MPE zones, tables, pedals, programs.

Lanes are channels of ports: port · 16 + channel. Page numbers: MIDI 1.0 Detailed Specification 4.2.1 (p.),
MIDI Polyphonic Expression M1-100-UM v1.1 (MPE), General MIDI 2 RP-024 (GM2), CA-025, RP-015.
"""

from __future__ import annotations

from collections import defaultdict
from functools import cached_property

import numpy as np

from retune.check.receiver.channel import (
    Channel,
    Parameter,
    enter,
    number_of,
    range_cents_of,
    tunes,
)
from retune.check.receiver.in_force import PARAMETERS, InForce
from retune.check.receiver.mts import TuningTables, read_tuning
from retune.check.receiver.sounding import IntArray
from retune.check.receiver.system import GM, GM2, XG, master_tuning, rhythm_part, system_on
from retune.check.receiver.timeline import Timeline
from retune.constants import (
    CC_ALL_NOTES_OFF,
    CC_ALL_SOUND_OFF,
    CC_BANK_MSB,
    CC_DATA_MSB,
    CC_MONO_ON,
    CC_POLY_ON,
    CC_RESET_ALL_CONTROLLERS,
    CC_SOSTENUTO,
    CC_SUSTAIN,
    CHANNELS_PER_PORT,
    DATA_CONTROLLERS,
    DEFAULT_BEND_RANGE_SEMITONES,
    GM2_MELODY_BANK,
    GM2_RHYTHM_BANK,
    MPE_MANAGER_RANGE_SEMITONES,
    MPE_MEMBER_RANGE_SEMITONES,
    PEDAL_DOWN,
    PERCUSSION_CHANNEL,
    RPN_BEND_RANGE,
    RPN_COARSE_TUNING,
    RPN_FINE_TUNING,
    RPN_MPE_CONFIGURATION,
    RPN_NULL,
    RPN_TUNING_PROGRAM,
    SELECTING_CONTROLLERS,
    XG_DRUM_BANKS,
)
from retune.units import fine_tuning_cents

DEFAULT_RANGE_CENTS = 100.0 * DEFAULT_BEND_RANGE_SEMITONES
MPE_MEMBER_RANGE_CENTS = 100.0 * MPE_MEMBER_RANGE_SEMITONES
MPE_MANAGER_RANGE_CENTS = 100.0 * MPE_MANAGER_RANGE_SEMITONES
UNTOLD = -1.0
BY_CHANNEL, MELODY, RHYTHM = UNTOLD, 0.0, 1.0  # what a channel is: what its number says until it is told
LOWER_MANAGER, UPPER_MANAGER = 0, 15  # MPE 2.2.1

PARAMETER_CONTROLLERS = (*DATA_CONTROLLERS, *SELECTING_CONTROLLERS)
SILENCERS = (CC_ALL_SOUND_OFF, CC_ALL_NOTES_OFF)  # p. 20
HEEDED_CONTROLLERS = (
    *PARAMETER_CONTROLLERS,
    *SILENCERS,
    CC_SUSTAIN,
    CC_SOSTENUTO,
    CC_RESET_ALL_CONTROLLERS,
    CC_MONO_ON,
    CC_POLY_ON,
)


class Receiver:
    """Follows the events that decide pitch, program and pedals, and writes down every change.

    `n_ports` ports are prepared, `places` is one more than the largest place in the file.
    """

    def __init__(self, n_ports: int, places: int) -> None:
        self.channels: defaultdict[int, Channel] = defaultdict(Channel)  # by lane
        self.zones = [{LOWER_MANAGER: 0, UPPER_MANAGER: 0} for _ in range(n_ports)]
        self.master_cents = [[0.0, 0.0] for _ in range(n_ports)]  # fine, coarse
        self.bend = Timeline(0.0, places)  # steps from the centre
        self.range = Timeline(DEFAULT_RANGE_CENTS, places)
        self.tuning = Timeline(0.0, places)  # RPN 1, RPN 2 and master tuning together [cents]
        self.manager = Timeline(-1.0, places)  # lane of the manager of a member channel
        self.program = Timeline(UNTOLD, places)
        self.format = Timeline(GM, places)  # by port
        self.rhythm = Timeline(BY_CHANNEL, places)  # by messages of the GS format
        self.kit = Timeline(BY_CHANNEL, places)  # by the bank of the program
        self.sustain = Timeline(0.0, places)
        self.sostenuto = Timeline(0.0, places)
        self.all_off = Timeline(1.0, places)  # 0 at every All Notes Off and All Sound Off
        self.sound_off = Timeline(1.0, places)  # 0 at every All Sound Off
        self.mono = Timeline(0.0, places)
        self.tables = TuningTables(n_ports, places)
        self._zero_at_reset = (
            self.bend,
            self.tuning,
            self.sustain,
            self.sostenuto,
            self.mono,
        )
        self._pedals: dict[tuple[int, int], tuple[int, float]] = {}  # (controller, lane) → place, state
        self.in_force = InForce(places)
        self.plain_range = Timeline(DEFAULT_RANGE_CENTS, places)  # for a receiver that knows no zones
        self.parameters: list[tuple[int, int, int, int]] = []  # place, lane, number, 14-bit value

    # --- controllers -------------------------------------------------------------------------------

    def control(self, place: int, lane: int, controller: int, value: int) -> None:
        """A control change of `HEEDED_CONTROLLERS`."""
        if controller in (CC_SUSTAIN, CC_SOSTENUTO):
            self.press(place, lane, controller, float(value >= PEDAL_DOWN))
        elif controller in SILENCERS:
            for member in self.zone_of(lane):
                self.all_off.add(member, place, 0.0)
                if controller == CC_ALL_SOUND_OFF:
                    self.sound_off.add(member, place, 0.0)
        elif controller in (CC_MONO_ON, CC_POLY_ON):
            for member in self.zone_of(lane):
                self.mono.add(member, place, float(controller == CC_MONO_ON))
        elif controller == CC_RESET_ALL_CONTROLLERS:
            self.reset_controllers(place, lane)
        else:
            self.parameter_control(place, lane, controller, value)

    def parameter_control(self, place: int, lane: int, controller: int, value: int) -> None:
        """Selection or data entry of a registered or other parameter (pp. 11-12, 17)."""
        channel = self.channels[lane]
        if controller in SELECTING_CONTROLLERS:
            channel.select(controller, value)
        elif channel.has_chosen:
            chosen = channel.chosen
            data = channel.enter(chosen, controller, value)
            if chosen == (True, RPN_BEND_RANGE):
                enter(channel.plain_range, controller, value, chosen)
                self.plain_range.add(lane, place, range_cents_of(channel.plain_range))
            self.parameter_changed(place, lane, chosen, data, controller)
            for member in self.zone_of(lane)[1:] if not tunes(chosen) else ():
                data = self.channels[member].enter(chosen, controller, value)
                self.in_force.add(PARAMETERS + number_of(chosen), member, place, data[0] << 7 | data[1])

    def parameter_changed(
        self, place: int, lane: int, parameter: Parameter, data: list[int], controller: int
    ) -> None:
        """Obey a parameter that decides pitch; keep any other as an event."""
        _, (msb, lsb) = parameter
        number = number_of(parameter)
        channel = self.channels[lane]
        whole = data[0] << 7 | data[1]
        if not tunes(parameter):
            self.parameters.append((place, lane, number, whole))
            self.in_force.add(PARAMETERS + number, lane, place, whole)
        elif (msb, lsb) == RPN_BEND_RANGE:
            self.set_range(place, lane, range_cents_of(data))
        elif (msb, lsb) == RPN_FINE_TUNING:
            channel.fine_cents = fine_tuning_cents(whole)
            self.retune(place, lane)
        elif (msb, lsb) == RPN_COARSE_TUNING:
            channel.coarse_cents = (data[0] - 64) * 100.0
            self.retune(place, lane)
        elif (msb, lsb) == RPN_MPE_CONFIGURATION:
            if controller == CC_DATA_MSB:
                self.configure_zone(place, lane, data[0])
        else:
            bank, program = channel.tuning
            channel.tuning = (bank, data[0]) if (msb, lsb) == RPN_TUNING_PROGRAM else (data[0], program)
            self.tables.select(place, lane, *channel.tuning)

    def set_range(self, place: int, lane: int, cents: float) -> None:
        """RPN 0; on a member channel it holds for all members of the zone (MPE 2.2.5)."""
        manager = self.manager_of(lane)
        for member in [lane] if manager is None else self.members(manager):
            self.channels[member].data[True, RPN_BEND_RANGE] = [int(cents) // 100, int(cents) % 100]
            self.range.add(member, place, cents)

    def retune(self, place: int, lane: int) -> None:
        """Channel and master tuning add (CA-025)."""
        channel = self.channels[lane]
        master = sum(self.master_cents[lane // CHANNELS_PER_PORT])
        self.tuning.add(lane, place, channel.fine_cents + channel.coarse_cents + master)

    def reset_controllers(self, place: int, lane: int) -> None:
        """CC121: bend to the centre, pedals up, expression full, no parameter chosen; all else stays (RP-015)."""
        self.in_force.reset_controllers(place, lane)
        self.bend.add(lane, place, 0.0)
        self.channels[lane].chosen = (True, RPN_NULL)
        for pedal in (CC_SUSTAIN, CC_SOSTENUTO):
            self.press(place, lane, pedal, 0.0)

    def press(self, place: int, lane: int, controller: int, is_down: float) -> None:
        """A pedal goes down or up, for the whole zone on its manager."""
        pedal = self.sustain if controller == CC_SUSTAIN else self.sostenuto
        self._pedals[controller, lane] = (place, is_down)
        for member in self.zone_of(lane):
            pedal.add(member, place, is_down)

    # --- zones of MPE ------------------------------------------------------------------------------

    def members(self, manager: int) -> list[int]:
        """Member lanes of the zone of a manager lane; none if the zone is off."""
        port, channel = divmod(manager, CHANNELS_PER_PORT)
        count = self.zones[port].get(channel, 0)
        numbers = range(1, count + 1) if channel == LOWER_MANAGER else range(15 - count, 15)
        return [port * CHANNELS_PER_PORT + number for number in numbers]

    def manager_of(self, lane: int) -> int | None:
        """Lane of the manager whose zone the lane is a member of."""
        port, channel = divmod(lane, CHANNELS_PER_PORT)
        zones = self.zones[port]
        base = port * CHANNELS_PER_PORT
        if 1 <= channel <= zones[LOWER_MANAGER]:
            return base + LOWER_MANAGER
        if 15 - zones[UPPER_MANAGER] <= channel <= 14:
            return base + UPPER_MANAGER
        return None

    def zone_of(self, lane: int) -> list[int]:
        """The lane itself and, if it manages a zone, its members."""
        if lane % CHANNELS_PER_PORT not in (LOWER_MANAGER, UPPER_MANAGER):
            return [lane]
        return [lane, *self.members(lane)]

    def configure_zone(self, place: int, lane: int, count: int) -> None:
        """MPE Configuration Message: the later zone wins an overlap; bends start afresh (MPE 2.2)."""
        port, channel = divmod(lane, CHANNELS_PER_PORT)
        if channel not in (LOWER_MANAGER, UPPER_MANAGER):
            return
        zones = self.zones[port]
        before = {member: self.manager_of(member) for member in self._port_lanes(port)}
        other = UPPER_MANAGER - channel
        zones[channel] = min(count, 15)
        zones[other] = max(0, min(zones[other], 14 - zones[channel])) if zones[channel] else zones[other]
        for member in self._port_lanes(port):
            manager = self.manager_of(member)
            if manager != before[member]:
                self.manager.add(member, place, UNTOLD if manager is None else manager)
                self.bend.add(member, place, 0.0)
                self._start_range(place, member, DEFAULT_RANGE_CENTS)
                self._join_pedals(place, member, manager)
        self._start_range(place, lane, MPE_MANAGER_RANGE_CENTS)
        for member in self.members(lane):
            self._start_range(place, member, MPE_MEMBER_RANGE_CENTS)

    def _start_range(self, place: int, lane: int, cents: float) -> None:
        self.range.add(lane, place, cents)
        self.channels[lane].data[True, RPN_BEND_RANGE] = [int(cents) // 100, 0]

    def _join_pedals(self, place: int, lane: int, manager: int | None) -> None:
        """Pedals of a channel that changes its zone: of its own and the manager's state the later one."""
        for controller, pedal in ((CC_SUSTAIN, self.sustain), (CC_SOSTENUTO, self.sostenuto)):
            told = [self._pedals.get((controller, of), (-1, 0.0)) for of in (lane, manager) if of is not None]
            pedal.add(lane, place, max(told)[1])

    def _port_lanes(self, port: int) -> range:
        return range(port * CHANNELS_PER_PORT, (port + 1) * CHANNELS_PER_PORT)

    # --- system exclusive --------------------------------------------------------------------------

    def sysex(self, place: int, port: int, data: tuple[int, ...]) -> bool:
        """Obey a tuning or reset message (bytes between F0 and F7). True if it only moves tuning tables."""
        system = system_on(data)
        if system is not None:
            self.reset_device(place, port, system)
            return False
        part = rhythm_part(data)
        if part is not None:
            channel, is_rhythm = part
            self.rhythm.add(port * CHANNELS_PER_PORT + channel, place, RHYTHM if is_rhythm else MELODY)
            return False
        master = master_tuning(data)
        if master is not None:
            is_coarse, cents = master
            self.master_cents[port][is_coarse] = cents
            for lane in self._port_lanes(port):
                self.retune(place, lane)
            return False
        change = read_tuning(data)
        if change is None:
            return False
        self.tables.apply(place, port, change)
        return True

    def reset_device(self, place: int, port: int, system: int) -> None:
        """GM, GM2, GS and XG resets: bends, ranges, tunings and selections start afresh (GM2 4.9)."""
        self.master_cents[port] = [0.0, 0.0]
        self.format.add(port, place, system)
        for lane in self._port_lanes(port):
            self.channels.pop(lane, None)
            self.in_force.reset_device(place, lane)
            for timeline in self._zero_at_reset:
                timeline.add(lane, place, 0.0)
            for controller in (CC_SUSTAIN, CC_SOSTENUTO):
                self._pedals.pop((controller, lane), None)
            self.program.add(lane, place, UNTOLD)
            self.rhythm.add(lane, place, BY_CHANNEL)
            self.range.add(lane, place, DEFAULT_RANGE_CENTS)
            self.plain_range.add(lane, place, DEFAULT_RANGE_CENTS)
            self.tables.select(place, lane, 0, 0)

    # --- asking ------------------------------------------------------------------------------------

    def freeze(self) -> None:
        """End the collecting; afterwards the timelines can be asked."""
        self.in_force.freeze(self.program)
        self._latch_banks()
        self.tables.freeze()

    def _latch_banks(self) -> None:
        """A bank makes a channel rhythm or melody when a program is chosen from it (GM2 RP-024 2.4).

        On channel 10 the melody bank counts only where GM2 is on. Of other banks nothing is said there.
        """
        banks = self.in_force.timeline(CC_BANK_MSB)
        if not banks.changes or not self.program.changes:
            return
        lanes, places = np.divmod(self.program.keys, self.program.places)
        bank, system = banks.at(lanes, places), self.format.at(lanes // CHANNELS_PER_PORT, places)
        rhythm = (bank == GM2_RHYTHM_BANK) | ((system == XG) & np.isin(bank, XG_DRUM_BANKS))
        other_channel = lanes % CHANNELS_PER_PORT != PERCUSSION_CHANNEL
        told = rhythm | ((bank == GM2_MELODY_BANK) & ((system == GM2) | other_channel))
        self.kit.extend(lanes, places, np.where(told, rhythm, BY_CHANNEL))

    def managers(self, lanes: IntArray, places: IntArray) -> IntArray:
        """Lane of the manager in whose zone each lane is a member, -1 for none."""
        return self.manager.at(lanes, places).astype(np.int64)

    @cached_property
    def moves_pitch(self) -> bool:
        """Whether anything moves a pitch away from equal temperament."""
        moved = any((timeline.values != 0).any() for timeline in (self.bend, self.tuning))
        return moved or self.tables.used

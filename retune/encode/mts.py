"""Tuning by single note changes: a frequency for each key, in steps of 0.0061 cents.

MIDI Tuning Updated Specification pp. 1-3, `F0 7F 7F 08 02 …`, real time: it acts on sounding notes. A table
tunes a key wherever it is played (a channel of its own would not keep a released note's tail in tune):
instruments whose equal keys sound together in different tunings use different tuning programs, chosen with
RPN 3 and 4 (p. 3); an instrument that has this with itself takes a further channel.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import mido
import numpy as np

from retune.constants import CC_DATA_MSB, RPN_TUNING_BANK, RPN_TUNING_PROGRAM
from retune.encode import messages as build
from retune.encode.losses import losses
from retune.encode.model import Encoded
from retune.encode.placing.spread import Spread, channels_used, spread_notes
from retune.encode.survey.music import Music, music_of, survey
from retune.encode.tables import TableConductor, TablePerformance
from retune.encode.writing.lines import Line, Voice
from retune.encode.writing.performance import write_file
from retune.encode.writing.rewrite import Place
from retune.options import Options
from retune.score.model import Score
from retune.tuning.model import Tuning

STEPS_PER_SEMITONE = 16384  # p. 1
STEP_CENTS = 100.0 / STEPS_PER_SEMITONE
HIGHEST_WORD = 0x7F * STEPS_PER_SEMITONE + 0x3FFE  # 7F 7F 7E; 7F 7F 7F means no change
MOST_CHANGES = 127  # the count is one data byte
PROGRAMS = 128
_ALL_DEVICES = 0x7F

Channel = tuple[int, int]
"""Port of the input and number of the lane."""


def encode_mts(score: Score, tuning: Tuning, options: Options) -> Encoded:
    """Encode by single note changes of tuning programs."""
    seen = survey(score)
    steps = np.full(len(seen.instruments), STEP_CENTS)
    keys = score.notes["key"].astype(np.int64)
    reach = (-keys * STEPS_PER_SEMITONE, HIGHEST_WORD - keys * STEPS_PER_SEMITONE)
    music = music_of(seen, tuning, steps, slots=keys, reach=reach, all_or_none=True)
    spread = spread_notes(music, further=options.when_full == "ports", joint=False, tails=False)
    programs = tuning_programs(music, spread)
    file = write_file(spread, partial(KeyConductor, programs=programs), TablePerformance)
    error, remarks = losses(spread, tuning)
    return Encoded(
        files=(file,),
        channels_used=channels_used(music, spread.placement.lane),
        worst_error_cents=error,
        remarks=remarks,
    )


def tuning_programs(music: Music, spread: Spread) -> dict[Channel, int]:
    """Tuning program of each channel: the lowest that no channel with a conflict has.

    Two channels are in conflict where a key sounds on both at once and not in the same tuning.
    """
    conflicts = _conflicts(music, spread)
    programs: dict[Channel, int] = {}
    for channel in sorted(conflicts):
        taken = {programs[other] for other in conflicts[channel] if other in programs}
        programs[channel] = next(p for p in range(PROGRAMS) if p not in taken or p == PROGRAMS - 1)
    return programs


def _conflicts(music: Music, spread: Spread) -> dict[Channel, set[Channel]]:
    timeline, wanted, placement = music.timeline, music.wanted, spread.placement
    ports = [i.port for i in music.instruments]
    lane, of_note = placement.lane.tolist(), music.of_note.tolist()
    moves = (np.diff(wanted.first) > 1).tolist()
    values, keys = placement.start_value.tolist(), music.slots.tolist()
    on, end = timeline.on.tolist(), timeline.end.tolist()
    found: dict[Channel, set[Channel]] = {}
    sounding: dict[tuple[int, int], list[int]] = {}
    for note in np.nonzero(placement.lane >= 0)[0].tolist():
        port = ports[of_note[note]]
        channel = (port, lane[note])
        mine = found.setdefault(channel, set())
        others = [n for n in sounding.get((port, keys[note]), ()) if end[n] > on[note]]
        for other in others:
            if lane[other] != lane[note] and (values[other] != values[note] or moves[other] or moves[note]):
                mine.add((port, lane[other]))
                found[port, lane[other]].add(channel)
        sounding[port, keys[note]] = [*others, note]
    return found


class KeyConductor(TableConductor):
    """Channels share the tables of tuning programs."""

    def __init__(self, *args: object, port: int, programs: dict[Channel, int]) -> None:
        super().__init__(*args, port=port)
        self.newest: dict[tuple[int, int], int] = {}  # port and key -> last value in any program
        self.program_of = {line: programs.get((port, number), 0) for number, line in self.lines.items()}

    def table_of(self, line: Line) -> int:
        """Tuning program, plus 128 for each further port: another device has tables of its own."""
        return self.program_of[line] + PROGRAMS * (line.port + 1)

    def has(self, table: int, slot: int, value: int) -> bool:
        """True if a key is at a value, also for a receiver that has one table for all programs."""
        newest = self.newest.get((table // PROGRAMS, slot), self.at_start)
        return super().has(table, slot, value) and newest == value

    def device_reset(self, after: Place) -> None:
        """No key is known to be at a value."""
        self.newest.clear()
        super().device_reset(after)

    def change(self, table: int, values: dict[int, int]) -> mido.Message:
        """One message for all keys that change."""
        self.newest.update({(table // PROGRAMS, key): value for key, value in values.items()})
        return note_changes(table % PROGRAMS, values)

    def set_up(self, line: Line, voice: Voice) -> Iterator[mido.Message]:
        """Tuning bank and program: some receivers need the choice before they obey changes."""
        if line.range_semitones is None:
            line.range_semitones = 0  # stands for: the program is chosen
            for number, value in ((RPN_TUNING_BANK, 0), (RPN_TUNING_PROGRAM, self.program_of[line])):
                data = ((CC_DATA_MSB, value),)
                yield from build.set_parameter(line.channel, number, data, then=line.selection)


def note_changes(program: int, values: dict[int, int]) -> mido.Message:
    """Real-time single note change of keys; `values` are steps from the key's equal-tempered pitch."""
    assert len(values) <= MOST_CHANGES
    words = [byte for key, value in sorted(values.items()) for byte in (key, *frequency_word(key, value))]
    return build.sysex((0x7F, _ALL_DEVICES, 0x08, 0x02, program, len(values), *words))


def frequency_word(key: int, value: int) -> tuple[int, int, int]:
    """Three bytes: semitone at or below the pitch, and 16384ths of a semitone above it (p. 1)."""
    word = key * STEPS_PER_SEMITONE + value
    return word >> 14, word >> 7 & 127, word & 127

"""Tuning by scale/octave tables: twelve offsets for each channel, in steps of 0.0122 cents.

MIDI Tuning Updated Specification (CA-021) pp. 7-8, real-time two-byte form `F0 7F 7F 08 09 …`. A channel
carries one offset a pitch class; an instrument with notes of one pitch class in two tunings takes a further
channel while they sound.
"""

from __future__ import annotations

import mido
import numpy as np

from retune.constants import CHANNELS_PER_PORT, FINE_TUNING_CENTRE
from retune.encode import messages as build
from retune.encode.losses import losses, out_of_reach
from retune.encode.model import Encoded
from retune.encode.placing.spread import channels_used, spread_notes
from retune.encode.survey.music import music_of, survey
from retune.encode.tables import TableConductor, TablePerformance
from retune.encode.writing.lines import Line
from retune.encode.writing.performance import write_file
from retune.options import Options
from retune.score.model import Score
from retune.tuning.model import Tuning

STEP_CENTS = 100.0 / FINE_TUNING_CENTRE  # p. 8: two-byte form
LOWEST, HIGHEST = -FINE_TUNING_CENTRE, FINE_TUNING_CENTRE - 1  # -100 to +99.988 cents
_ALL_DEVICES = 0x7F


def encode_octave(score: Score, tuning: Tuning, options: Options) -> Encoded:
    """Encode by scale/octave tables of the channels."""
    seen = survey(score)
    steps = np.full(len(seen.instruments), STEP_CENTS)
    pitch_class = score.notes["key"].astype(np.int64) % 12
    reach = (np.full(len(pitch_class), LOWEST), np.full(len(pitch_class), HIGHEST))
    music = music_of(seen, tuning, steps, slots=pitch_class, reach=reach)
    spread = spread_notes(music, further=options.when_full == "ports", joint=False)
    file = write_file(spread, OctaveConductor, TablePerformance)
    error, remarks = losses(spread, tuning)
    return Encoded(
        files=(file,),
        channels_used=channels_used(music, spread.placement.lane),
        worst_error_cents=error,
        remarks=(*remarks, *out_of_reach(score, tuning, LOWEST * STEP_CENTS, HIGHEST * STEP_CENTS)),
    )


class OctaveConductor(TableConductor):
    """Each channel has a table of its own."""

    def table_of(self, line: Line) -> int:
        """Channel, plus 16 for each further port."""
        return line.channel + CHANNELS_PER_PORT * (line.port + 1)

    def change(self, table: int, values: dict[int, int]) -> mido.Message:
        """All twelve offsets of the channel: each message counts from equal temperament (p. 6)."""
        row = {**self.sent[table], **values}
        return octave_message(1 << table % CHANNELS_PER_PORT, [row.get(pc, 0) for pc in range(12)])


def octave_message(channels: int, values: list[int]) -> mido.Message:
    """Real-time scale/octave tuning, two-byte form, for the channels whose bits are set; `values` in steps."""
    mask = (channels >> 14 & 3, channels >> 7 & 127, channels & 127)
    words = [
        byte
        for value in values
        for byte in (value + FINE_TUNING_CENTRE >> 7, value + FINE_TUNING_CENTRE & 127)
    ]
    return build.sysex((0x7F, _ALL_DEVICES, 0x08, 0x09, *mask, *words))

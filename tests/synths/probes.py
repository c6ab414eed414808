"""Small files that ask a receiver one thing: scattered notes, each with its own cents, carried in one way."""

from __future__ import annotations

import io
from collections.abc import Callable

import mido

KEYS = (48, 60, 64, 67, 72, 76)
CENTS = (-31.174, -13.686, 1.955, 15.641, 40.0, -48.0)
"""7/4, 5/4, 3/2 and 6/5 above a root, and two far ones."""
NOTE_TICKS, QUARTER = 2000, 500  # 1000 ticks are a second at 120 to the minute

Messages = list[mido.Message]


def parameter(channel: int, number: int, msb: int, lsb: int | None = 0) -> Messages:
    """A registered parameter, selection, data and null."""
    pairs = [(101, 0), (100, number), (6, msb), *([] if lsb is None else [(38, lsb)]), (101, 127), (100, 127)]
    return [mido.Message("control_change", channel=channel, control=c, value=v) for c, v in pairs]


def universal(*data: int, real_time: bool = True) -> mido.Message:
    """A universal system exclusive message to every device."""
    return mido.Message("sysex", data=(0x7F if real_time else 0x7E, 0x7F, *data))


def bend(channel: int, cents: float, semitones: int) -> mido.Message:
    """The wheel position nearest to some cents."""
    steps = max(-8192, min(8191, round(cents * 8192 / (100 * semitones))))
    return mido.Message("pitchwheel", channel=channel, pitch=steps)


def frequency_word(key: int, cents: float) -> tuple[int, int, int]:
    """Frequency data of the tuning standard: a semitone and 16384ths of it."""
    whole = round((key + cents / 100) * 16384)
    return whole >> 14, whole >> 7 & 127, whole & 127


def scattered(before: Callable[[int, float], Messages], setup: Messages = (), channel: int = 1) -> bytes:
    """One note after the other, each with its messages in front."""
    track = mido.MidiTrack(setup)
    for key, cents in zip(KEYS, CENTS, strict=True):
        track.extend(before(key, cents))
        track.append(mido.Message("note_on", channel=channel, note=key, velocity=80))
        track.append(mido.Message("note_off", channel=channel, note=key, time=NOTE_TICKS))
        track.append(mido.Message("control_change", channel=channel, control=7, value=100, time=200))
    file = mido.MidiFile(ticks_per_beat=QUARTER)
    file.tracks.append(track)
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def expectations(channel: int = 1) -> list[tuple[float, float, int, int]]:
    """(start s, end s, channel, key) of the notes of `scattered`."""
    step = (NOTE_TICKS + 200) / 1000
    return [(k * step, k * step + NOTE_TICKS / 1000, channel, key) for k, key in enumerate(KEYS)]


def _bends(semitones: int) -> bytes:
    return scattered(lambda _, cents: [bend(1, cents, semitones)], parameter(1, 0, semitones))


def _zone(semitones: int | None) -> bytes:
    """A lower zone of fifteen; with a range for every member, or relying on the 48 of the standard."""
    setup = parameter(0, 6, 15, None)
    if semitones:
        setup += [message for member in range(1, 16) for message in parameter(member, 0, semitones)]
    return scattered(lambda _, cents: [bend(1, cents, semitones or 48)], setup)


def _single_notes(*, choose: bool) -> bytes:
    """Single note changes of bank 0, program 0; `choose` selects them on the channel first."""
    setup = parameter(1, 4, 0, None) + parameter(1, 3, 0, None) if choose else []
    return scattered(lambda key, cents: [universal(8, 2, 0, 1, key, *frequency_word(key, cents))], setup)


def _octave(*, fine: bool, real_time: bool, others: bool = True) -> bytes:
    """Octave tables for every channel; or, without `others`, for the note's and then an even one for the next."""

    def before(key: int, cents: float) -> Messages:
        values = [0.0] * 12
        values[key % 12] = cents
        if fine:
            words = [round(8192 + value * 8192 / 100) for value in values]
            data = [byte for word in words for byte in (word >> 7, word & 127)]
        else:
            data = [64 + round(value) for value in values]
        form = 9 if fine else 8
        if others:
            return [universal(8, form, 3, 127, 127, *data, real_time=real_time)]
        even = [64, 0] * 12
        return [universal(8, form, 0, 0, 2, *data), universal(8, form, 0, 0, 4, *even)]

    return scattered(before)


def _fine_tuning() -> bytes:
    def before(_: int, cents: float) -> Messages:
        word = round(8192 + cents * 8192 / 100)
        return parameter(1, 1, word >> 7, word & 127)

    return scattered(before)


PROBES: dict[str, bytes] = {
    "bend, range 2": _bends(2),
    "bend, range 12": _bends(12),
    "bend, range 24": _bends(24),
    "bend, range 48": _bends(48),
    "mpe, range 48 sent to members": _zone(48),
    "mpe, range 2 sent to members": _zone(2),
    "mpe, zone message alone": _zone(None),
    "mts, single notes": _single_notes(choose=False),
    "mts, single notes after RPN 4 and 3": _single_notes(choose=True),
    "mts-octave, 2 bytes, real time": _octave(fine=True, real_time=True),
    "mts-octave, 2 bytes, not real time": _octave(fine=True, real_time=False),
    "mts-octave, 1 byte, real time": _octave(fine=False, real_time=True),
    "mts-octave, 1 byte, not real time": _octave(fine=False, real_time=False),
    "mts-octave, a table for each channel": _octave(fine=True, real_time=True, others=False),
    "RPN 1 fine tuning": _fine_tuning(),
}

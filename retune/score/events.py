"""The events of one track as bytes: clean stretches pass untouched, damage is mended or left out.

The parser behind this module stops at the first fault of a track, and three faults it does not see at
all: running status kept across a sysex event (it reads the notes as sysex), the delta time of a meta
event of an unknown type (it is lost, and the rest of the track sounds early), and `F7` packets (they turn
into plain sysex). So every track is walked here first. A regular expression takes each clean stretch of
channel events in one step, some thousand events at a time, so that what takes them apart holds few at once.

Events the parser cannot represent travel beside it: the track holds a stand-in, a sequencer-specific meta
event whose data is an index into `asides`, and the reader puts the real message in its place.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import mido

from retune.constants import META_STATUS
from retune.errors import InputError, Remark
from retune.score.packets import SysexPacket

# Python before 3.11.5 loses its place where an atomic group, or a possessive repeat of a group with a choice or an
# option in it, meets something else in mid-group (gh-106052): patterns here and in `repair` go without both.
VLQ = rb"(?:[\x80-\xff]{0,3}+[\x00-\x7f])"  # SMF 1.1: at most four bytes
DATA = rb"[\x00-\x7f]"
STATUS_OF_TWO, STATUS_OF_ONE = rb"[\x80-\xbf\xe0-\xef]", rb"[\xc0-\xdf]"  # MIDI 1.0, table I
RUNNING_TWO, RUNNING_ONE = rb"(?:" + VLQ + DATA + DATA + rb")*+", rb"(?:" + VLQ + DATA + rb")*+"
_RUN_OF_TWO = STATUS_OF_TWO + DATA + DATA + RUNNING_TWO
_RUN_OF_ONE = STATUS_OF_ONE + DATA + RUNNING_ONE
_CLEAN = re.compile(rb"(?:" + VLQ + rb"(?:" + _RUN_OF_TWO + rb"|" + _RUN_OF_ONE + rb")){0,4096}")
_STATUS_RUN = re.compile(VLQ + rb"(?:(?=([\x80-\xef]))(?:" + _RUN_OF_TWO + rb"|" + _RUN_OF_ONE + rb"))")
_SHORT = re.compile(  # a sysex, a text or a tempo up to its length, if that is one byte
    VLQ + rb"(?:(\xf0)|\xff(?:[\x01-\x07\x09]|\x51(?=\x03)))([\x00-\x7f])"
)
LONG_VLQ = rb"[\x80-\xff]*+[\x00-\x7f]"
_LONG_VLQ = re.compile(LONG_VLQ)
_DATA_BYTES = re.compile(rb"[\x00-\x7f]*+")
_SEVEN_BIT = re.compile(rb"[\x00-\x7f]*+\xf7")

VLQ_MAX = 0x0FFFFFFF  # SMF 1.1
LONGEST_PARSED_EVENT = 4096  # longer ones go beside the parser, which takes a third of a microsecond a byte
MOST_STEPS = 2_000_000  # some seconds; chosen far above any music
END_OF_TRACK = b"\xff\x2f\x00"

_EXACT_LENGTH = {0x00: 2, 0x20: 1, 0x21: 1, 0x51: 3, 0x54: 5, 0x58: 4, 0x59: 2}  # SMF 3.1
_TEXTS = frozenset((1, 2, 3, 4, 5, 6, 7, 9))  # text events the parser knows
_STRAY_DATA_BYTES = {0xF1: 1, 0xF2: 2, 0xF3: 1}  # MIDI 1.0, table V: system common

_MESSAGES = {
    "no-end-of-track": "the track has no end; it is taken to end with its last event",
    "truncated": "the track breaks off inside an event; everything before it is kept",
    "running-status": "events rely on a status byte from before a meta or sysex event; it was put in",
    "data-byte": "a value above 127 was set to 127",
    "bad-key": "an event whose first value is above 127 was left out",
    "stray-status": "a real-time or system event, which has no place in a file, was left out",
    "stray-data": "bytes that belong to no event were left out",
    "long-delta": "a delta time longer than the four bytes the standard allows was taken as 0",
    "odd-meta": "a meta event with a value outside the standard is passed on unchanged and not used",
    "bad-meta": "a meta event of a type above 127 was left out",
    "after-end": "events after the end of the track were left out",
    "chunk": "data of an unknown kind were skipped, as the standard asks",
    "junk": "bytes that belong to no track were skipped",
    "header-length": "the file header states another length than 6 bytes",
    "riff": "the MIDI file was taken out of its RIFF wrapper",
    "bytes-in-front": "bytes in front of the file header were skipped",
    "frame-rate": "the frame rate is none of the standard (24, 25, 29, 30), but used",
    "track-length": "the stated length of the track does not match its events, which were followed instead",
}


def vlq_bytes(value: int) -> bytes:
    """Return a number as a variable-length quantity (SMF 1.1)."""
    groups = [value & 0x7F]
    while value := value >> 7:
        groups.append(value & 0x7F | 0x80)
    return bytes(reversed(groups))


def vlq_value(groups: bytes) -> int:
    """Return the number a variable-length quantity stands for (SMF 1.1)."""
    value = 0
    for group in groups:
        value = value << 7 | group & 0x7F
    return value


def times(count: int) -> str:
    """Return what a remark that stands for several places says of their number."""
    return f" ({count} times; this is the first)" if count > 1 else ""


@dataclass(slots=True)
class Mends:
    """What was mended in one track: for each kind the first byte offset and the number of times."""

    found: dict[str, list[int]] = field(default_factory=dict)

    def note(self, code: str, offset: int) -> None:
        """Count one mend of this kind."""
        self.found.setdefault(code, [offset, 0])[1] += 1

    def remarks(self, track: int | None = None) -> list[Remark]:
        """One remark a kind of mend, in the order they were met. `track` counts from 1; None: the file."""
        place = "" if track is None else f"track {track}, "
        return [
            Remark(
                code=code,
                message=_MESSAGES[code] + times(count),
                where=f"{place}byte {offset}",
            )
            for code, (offset, count) in self.found.items()
        ]


@dataclass(slots=True, kw_only=True)
class Walk:
    """What the walks over the tracks of one file share: its name, events set aside, steps still allowed."""

    name: str
    asides: list[mido.Message] = field(default_factory=list)
    steps_left: int = MOST_STEPS

    def step(self) -> None:
        """Count one event or chunk that had to be looked at by itself; raise `InputError` at the limit."""
        self.steps_left -= 1
        if self.steps_left < 0:
            raise InputError(f"{self.name}: too many special or damaged events; this is hardly music")


class TrackWalk:
    """One pass over the events of `data[start:end]`; afterwards `out` holds the mended track.

    Each entry of `out` is a stretch of channel events that begins with a status, or one other event with its delta
    time. `next` is the offset after the last byte used, `ended` tells whether an end-of-track event was met.
    """

    def __init__(self, data: bytes, start: int, end: int, shared: Walk) -> None:
        self.data, self.next, self.end = data, start, end
        self.shared = shared
        self.mends = Mends()
        self.out: list[bytes] = []
        self.ended = False
        self._pending = 0  # delta times of events left out, owed to the next event
        self._clean = (start, start)  # the clean stretch that set the running status
        self._status: int | None = None  # running status, None: look it up in the clean stretch
        self._cancelled = False  # a meta or sysex event came since the last channel event

    def walk(self) -> TrackWalk:
        """Walk to the end of the track and close it with exactly one end-of-track event."""
        while self.next < self.end and not self.ended:
            if not self._pending and (self._take_clean_stretch() or self._take_short_event()):
                continue
            if not self._take_event():
                break
        if not self.ended and "truncated" not in self.mends.found:
            self.mends.note("no-end-of-track", self.next)
        self.out.append(vlq_bytes(self._pending) + END_OF_TRACK)
        return self

    def _take_clean_stretch(self) -> bool:
        start = self.next
        match = _CLEAN.match(self.data, start, self.end)
        stop = match.end() if match else start
        if stop == start:
            return False
        self.out.append(self.data[start:stop])
        self._clean, self._status, self._cancelled = (start, stop), None, False
        self.next = stop
        return True

    def _take_short_event(self) -> bool:
        """Take a sound meta or sysex event of the usual kinds as it stands: files may hold a million of them."""
        start = self.next
        match = _SHORT.match(self.data, start, self.end)
        if match is None:
            return False
        first = match.end()
        stop = first + self.data[first - 1]
        if stop > self.end:
            return False
        if match[1]:
            body = self.data[first:stop]
            if body[-1:] != b"\xf7" or not body[:-1].isascii():
                return False
        self.shared.step()
        self.out.append(self.data[start:stop])
        self.next, self._cancelled = stop, True
        return True

    def _take_event(self) -> bool:
        """Take one event; False where nothing more of the track can be read."""
        self.shared.step()
        start = self.next
        delta, at = self._quantity(start)
        if at < 0 or at >= self.end:
            return self._breaks_off(start)
        if delta > VLQ_MAX:
            self.mends.note("long-delta", start)
            delta = 0
        self._pending += delta
        status = self.data[at]
        if status == META_STATUS:
            return self._take_meta(start, at)
        if status in (0xF0, 0xF7):
            return self._take_sysex(start, at)
        if status > 0xF0:
            return self._skip_stray(start, at)
        return self._take_channel_event(start, at)

    def _breaks_off(self, start: int) -> bool:
        self.mends.note("truncated", start)
        return False

    def _quantity(self, at: int) -> tuple[int, int]:
        """Value of the variable-length quantity at an offset and the offset after it (-1: cut off)."""
        match = _LONG_VLQ.match(self.data, at, self.end)
        if match is None:
            return 0, -1
        groups = match.group().lstrip(b"\x80")
        if len(groups) > 4:
            return VLQ_MAX + 1, match.end()
        return vlq_value(groups), match.end()

    def _emit(self, event: bytes) -> None:
        """Write an event with the delta time owed."""
        self.out.append(vlq_bytes(self._pending) + event)
        self._pending = 0

    def _set_aside(self, message: mido.Message) -> None:
        asides = self.shared.asides
        self._emit(b"\xff\x7f\x04" + len(asides).to_bytes(4, "big"))
        asides.append(message)

    def _take_meta(self, start: int, at: int) -> bool:
        length, first = self._quantity(at + 2) if at + 2 < self.end else (0, -1)
        if first < 0 or first + length > self.end:
            return self._breaks_off(start)
        kind, stop = self.data[at + 1], first + length
        self.next, self._cancelled = stop, True
        if kind == 0x2F:
            self.ended = True
        elif kind > 0x7F:
            self.mends.note("bad-meta", start)
        elif self._parser_keeps(kind, first, stop):
            self._emit(self.data[at:stop])
        elif kind == 0x7F:
            self._set_aside(mido.MetaMessage("sequencer_specific", data=tuple(self.data[first:stop])))
        else:
            if kind in _EXACT_LENGTH:
                self.mends.note("odd-meta", start)
            self._set_aside(mido.UnknownMetaMessage(kind, self.data[first:stop]))
        return True

    def _parser_keeps(self, kind: int, first: int, stop: int) -> bool:
        """Tell whether the parser reads this meta event and writes it back as it was."""
        if kind in _TEXTS:
            return stop - first <= LONGEST_PARSED_EVENT
        return kind in _EXACT_LENGTH and _is_plain(kind, self.data[first:stop])

    def _take_sysex(self, start: int, at: int) -> bool:
        length, first = self._quantity(at + 1) if at + 1 < self.end else (0, -1)
        if first < 0 or first + length > self.end:
            return self._breaks_off(start)
        stop = first + length
        self.next, self._cancelled = stop, True
        whole = _SEVEN_BIT.match(self.data, first, stop)
        if self.data[at] == 0xF7 or whole is None or whole.end() != stop:
            self._set_aside(SysexPacket(self.data[at], self.data[first:stop]))
        elif length <= LONGEST_PARSED_EVENT:
            self._emit(self.data[at:stop])
        else:
            self._set_aside(mido.Message("sysex", skip_checks=True, data=self.data[first : stop - 1]))
        return True

    def _skip_stray(self, start: int, at: int) -> bool:
        self.mends.note("stray-status", start)
        self.next = at + 1
        for _ in range(_STRAY_DATA_BYTES.get(self.data[at], 0)):
            if self.next < self.end and self.data[self.next] < 0x80:
                self.next += 1
        return True

    def _take_channel_event(self, start: int, at: int) -> bool:
        status = self.data[at]
        if status < 0x80:
            if self._status is None:
                self._status = self._left_running()
            if not self._status:
                self.mends.note("stray-data", start)
                self.next = self._after_stray_data(at)
                return True
            if self._cancelled:
                self.mends.note("running-status", start)
            status, first = self._status, at
        else:
            first = at + 1
        stop = first + (1 if 0xC0 <= status < 0xE0 else 2)
        if stop > self.end:
            return self._breaks_off(start)
        self._status, self._cancelled, self.next = status, False, stop
        self._emit_channel_event(start, status, self.data[first:stop])
        return True

    def _after_stray_data(self, at: int) -> int:
        """Offset of the next event after data bytes that belong to none."""
        match = _DATA_BYTES.match(self.data, at, self.end)
        stop = match.end() if match else self.end
        _, after = self._quantity(stop)
        if after < 0 or after >= self.end or self.data[after] < 0x80:
            return max(stop - 1, at)  # a status byte stands here, so the byte before it is its delta time
        return stop

    def _emit_channel_event(self, start: int, status: int, values: bytes) -> None:
        if values[0] > 0x7F:
            self.mends.note("bad-key", start)
            return
        if max(values) > 0x7F:
            self.mends.note("data-byte", start)
        self._emit(bytes((status, *(min(value, 0x7F) for value in values))))

    def _left_running(self) -> int:
        """Status that the last clean stretch left running, 0 where there is none."""
        status = 0
        for match in _STATUS_RUN.finditer(self.data, *self._clean):
            status = match.group(1)[0]
        return status


def _is_plain(kind: int, data: bytes) -> bool:
    """Tell whether a meta event of fixed length has that length and values the parser knows."""
    if len(data) != _EXACT_LENGTH[kind]:
        return False
    if kind == 0x54:  # SMPTE offset: frame rate code 0-3, minutes, seconds, sub-frames
        return data[0] < 0x80 and data[1] < 60 and data[2] < 60 and data[4] < 100
    if kind == 0x58:  # time signature: a denominator beyond 2^16 is no meter
        return data[1] <= 16
    if kind == 0x59:  # key signature: -7 to 7, major or minor
        return (data[0] <= 7 or data[0] >= 0xF9) and data[1] <= 1
    return True

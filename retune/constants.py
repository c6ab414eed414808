"""Every number that comes from outside the project, once, with its source.

Numbers found by listening or experiment say so, and name the figure that led to them.
"""

from __future__ import annotations

# --- pitch ---------------------------------------------------------------------------------------
A4_HZ = 440.0  # ISO 16:1975
A4_KEY = 69  # MIDI 1.0: key 60 is middle C, 69 the A above it

# --- MIDI 1.0 (Detailed Specification 4.2.1, 1996) -------------------------------------------------
BEND_CENTRE = 8192  # p. 19: 00 40
BEND_MAX = 16383  # p. 19: 7F 7F
DEFAULT_BEND_RANGE_SEMITONES = 2  # General MIDI 1, p. 3
PERCUSSION_CHANNEL = 9  # General MIDI 1, p. 2: channel 10, zero-based
CHANNELS_PER_PORT = 16
PEDAL_DOWN = 64  # p. 20 / GM2 3.3: a switch controller is on at 64 and above
CC_SUSTAIN, CC_SOSTENUTO = 64, 66
CONTROLLER_STARTS = {7: 100, 10: 64, 11: 127, 91: 40, **dict.fromkeys(range(71, 79), 64)}
"""Controllers that do not start at 0: General MIDI 2 (RP-024) 3.3."""
RESET_BY_121 = (1, 11, 64, 65, 66, 67)  # RP-015; beside them pressure and bend
SYSTEM_BYTES = {0xF1: 2, 0xF2: 3, 0xF3: 2, **dict.fromkeys((0xF6, 0xF8, 0xFA, 0xFB, 0xFC, 0xFE, 0xFF), 1)}
"""Length of system common and real-time messages, status included: tables V to VII."""
CC_RESET_ALL_CONTROLLERS, CC_ALL_SOUND_OFF, CC_ALL_NOTES_OFF = 121, 120, 123

# --- Standard MIDI Files 1.0 (RP-001) --------------------------------------------------------------
DEFAULT_TEMPO_US = 500_000  # microseconds per quarter when no tempo event is present
DEFAULT_METER = (4, 4)

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
CC_RESET_ALL_CONTROLLERS, CC_ALL_SOUND_OFF, CC_ALL_NOTES_OFF = 121, 120, 123

# --- Standard MIDI Files 1.0 (RP-001) --------------------------------------------------------------
DEFAULT_TEMPO_US = 500_000  # microseconds per quarter when no tempo event is present
DEFAULT_METER = (4, 4)

"""Every number that comes from outside the project, once, with its source.

Numbers found by listening or experiment say so, and name the figure that led to them.
"""

from __future__ import annotations

# --- pitch ---------------------------------------------------------------------------------------
A4_HZ = 440.0  # ISO 16:1975
A4_KEY = 69  # MIDI 1.0: key 60 is middle C, 69 the A above it
OCTAVE_CENTS = 1200.0  # Ellis, in Helmholtz, *On the Sensations of Tone*, 2nd English ed. 1885, App. XX
SYNTONIC_COMMA = (81, 80)  # the same, table of intervals: what four pure fifths and a pure third disagree by
CHORD_SHARE = 0.25
"""Notes of a part are a chord, and no line, if they start within this share of the shorter one's length of each other
(experiment): performed and rolled chords do not start at one tick."""

# --- MIDI 1.0 (Detailed Specification 4.2.1, 1996) -------------------------------------------------
BEND_CENTRE = 8192  # p. 19: 00 40
BEND_MAX = 16383  # p. 19: 7F 7F
DEFAULT_BEND_RANGE_SEMITONES = 2  # General MIDI 1, p. 3
MOST_BEND_RANGE_SEMITONES = 127  # RPN 0 is set by a data byte: p. 18
PERCUSSION_CHANNEL = 9  # General MIDI 1, p. 2: channel 10, zero-based
CHANNELS_PER_PORT = 16
PEDAL_DOWN = 64  # p. 20 / GM2 3.3: a switch controller is on at 64 and above
CC_BANK_MSB, CC_BANK_LSB = BANK_CONTROLLERS = (0, 32)  # table III, as all numbers of controllers
CC_DATA_MSB, CC_DATA_LSB, CC_DATA_INCREMENT, CC_DATA_DECREMENT = DATA_CONTROLLERS = (6, 38, 96, 97)
CC_NRPN_LSB, CC_NRPN_MSB, CC_RPN_LSB, CC_RPN_MSB = SELECTING_CONTROLLERS = (98, 99, 100, 101)
CC_VOLUME, CC_PAN, CC_EXPRESSION = 7, 10, 11
CC_SUSTAIN, CC_SOSTENUTO = 64, 66
CONTROLLER_STARTS = {7: 100, 10: 64, 11: 127, 91: 40, **dict.fromkeys(range(71, 79), 64)}
"""Controllers that do not start at 0: General MIDI 2 (RP-024) 3.3."""
RESET_BY_121 = (1, 11, 64, 65, 66, 67)  # RP-015; beside them pressure and bend
SYSTEM_BYTES = {0xF1: 2, 0xF2: 3, 0xF3: 2, **dict.fromkeys((0xF6, 0xF8, 0xFA, 0xFB, 0xFC, 0xFE, 0xFF), 1)}
"""Length of system common and real-time messages, status included: tables V to VII."""
META_STATUS = 0xFF  # SMF 1.0
FIRST_SYSTEM_STATUS = 0xF0  # table I: from here on no channel messages, which alone set a running status
FIRST_MODE_MESSAGE = 120  # p. 20: from here on controllers are commands, not values
CC_ALL_SOUND_OFF, CC_RESET_ALL_CONTROLLERS, CC_ALL_NOTES_OFF = 120, 121, 123
CC_MONO_ON, CC_POLY_ON = 126, 127
RPN_BEND_RANGE, RPN_FINE_TUNING, RPN_COARSE_TUNING = (0, 0), (0, 1), (0, 2)  # p. 18: MSB, LSB
RPN_TUNING_PROGRAM, RPN_TUNING_BANK = (0, 3), (0, 4)  # MIDI Tuning Updated Specification p. 3
RPN_MODULATION_RANGE = (0, 5)  # GM2 RP-024 3.4
RPN_MPE_CONFIGURATION = (0, 6)  # M1-100-UM v1.1, 2.2.1
RPN_NULL = (127, 127)  # p. 17: no parameter chosen
FINE_TUNING_CENTRE = 8192  # p. 18: 40 00; as many steps to a semitone
"""Of RPN 1, of master fine tuning, and of tables of twelve (MIDI Tuning Updated Specification p. 8)."""
MPE_MEMBER_RANGE_SEMITONES = 48  # M1-100-UM v1.1, 2.2.5: after a configuration
MPE_MANAGER_RANGE_SEMITONES = 2  # the same
GM2_RHYTHM_BANK, GM2_MELODY_BANK = 120, 121  # RP-024 2.4: bank MSB 78 and 79 hex
XG_DRUM_BANKS = (126, 127)  # from memory, not checked

# --- Standard MIDI Files 1.0 (RP-001) --------------------------------------------------------------
DEFAULT_TEMPO_US = 500_000  # microseconds per quarter when no tempo event is present
DEFAULT_METER = (4, 4)

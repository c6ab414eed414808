"""Retune MIDI files to just intonation."""

__version__ = "0.1.0"

"""A receiver by the published standards: bytes of a file → what sounds, note by note, and all that is in force.

Its state is in `state`, fed event by event; `decode` and `clip` read the two kinds of file.
"""

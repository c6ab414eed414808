"""Hear it: a score, its harmony and its tuning in; mono samples with a list of what is heard when out.

Works from the same offsets that are written to files, so what is heard is what was solved.
"""

from retune.listen.audio import sound_file
from retune.listen.preview import Cue, Preview, preview
from retune.listen.wishes import Wishes

__all__ = ["Cue", "Preview", "Wishes", "preview", "sound_file"]

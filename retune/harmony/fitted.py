"""Tables of the finder fitted to human analyses: what speaks for each chord type, in hundredths of a point.

A large-margin fit (docs/harmony.md) on published analyses of chorales, madrigals, songs and preludes; fitted to half
of the pieces, the tables do as well on the other half. Nothing here depends on the key: every row is relative to
the root. Columns are semitones above the root, rows follow `TYPE_ORDER`.
"""

from __future__ import annotations

import numpy as np

from retune.score.model import FloatArray

TYPE_ORDER = ("maj", "maj7", "min", "7", "min7", "dim", "min7b5", "dim7", "aug", "sus4", "sus2")
CLASS_SIZES = (2, 1, 1, 1, 3, 3)
"""How many types, in order, move alike: major, minor, dominant, minor seventh, diminished, others."""


def _table(text: str) -> FloatArray:
    return np.array([line.split() for line in text.strip().splitlines()], dtype=np.float64) / 100.0


SOUND = _table("""
     134 -111  -92  -90   90  -69 -118   93 -119 -120  -98  -95
     122 -105  -88 -107   96 -115 -107   90 -118 -126 -107   27
     130 -117  -87   92 -102  -85 -121   91 -130 -158  -95 -119
     116 -104  -91 -107   95  -86  -98   78 -103 -102   46 -112
     131 -116  -95   90 -108  -94  -91   85 -121 -123   45 -103
     133 -105 -101  102 -109 -104   95 -113 -129 -105 -103 -115
     123  -86 -118   88 -115 -100   91 -107 -112 -124   52 -110
     115  -86 -112   99 -101 -100   93 -107 -116   63 -113 -114
     120 -110 -113 -110   98 -100 -108 -110   79 -112 -100 -112
     128 -110  -95 -107  -89   80 -110   89 -119 -104 -112 -112
     135 -110   75 -107  -90 -104 -109   85 -109 -108  -92 -122
""")
"""How long a pitch class sounds, per beat."""

PRESENCE = _table("""
      15   -9   17    0    6   26   -7   12  -24  -21  -24    1
       4    6   22    6    5   -1    7    6   -7  -17    6   -9
      12  -14   23    0    4   21  -14    8  -20  -52    5   -8
       5    0   16    1   10   20    3   -2    5    5   12    0
       6   -2   22   -3    2   17   10   -2  -13  -15   -3    8
      22   10    6    9    3    6   13   -3  -22   -4    4   -6
      10   26  -11    3  -11   12   13    7   -7  -15    5    0
       7   20   -3   -2   11    8    2    1   -2   10  -14   -8
       1    0   -5    0    1    7    4    0   -4   -2    8   -1
       2    1   20    1   24  -12    0    2   -9   11   -2   -3
       5    0  -12    6   23    7    2   -2    1    2   17  -11
""")
"""That it sounds at all: square root of its share of the stretch, per square root of a beat."""

BASS = _table("""
      61  -28    8  -31   19  -29  -44  -35  -15  -43  -27   12
      50  -27  -22  -30   10  -30  -25   -3  -30  -33  -30   -8
      56  -37   11   18  -30  -31  -31  -35  -48  -36  -11  -13
      49  -21  -27  -30   17   -9  -35  -22  -34  -29   -6  -28
      62  -34  -27   19  -30  -19  -27  -17  -37  -32  -18  -32
      37  -21  -27   27  -29  -30  -31  -37  -25  -37  -26  -31
      45  -15  -31   17  -31  -26  -24  -30  -32  -37    1  -30
      37   -3  -30    9  -32  -24   -3  -28  -29    3  -32  -31
      40  -30  -29  -30   14  -19  -30  -30    2  -30  -30  -30
      77  -30  -30  -30  -30   -9  -30  -19  -30  -30  -30  -30
      79  -30   -5  -30  -30  -30  -30  -18  -30  -28  -30  -31
""")
"""How long it lies lowest, per beat."""

FIRST_BASS = _table("""
      -2   -2   16   -4    7    9   -3  -21    1  -22   10  -10
       8    3    5    0    6    0    0  -10    0   -2    0   -1
      13  -13    5    2   -1    5   -3  -21  -16   -3   -6    2
       0   -4    4    0   12   20    0  -27  -12  -12   15    4
       5   -1    0   14    0   17    0  -20   -7  -10   -5   -2
     -17    7    9   25    5    8  -32   -6    8    0    2   -1
      -4   13    0   11    0    0  -17    0   -3    0    1    0
     -18   26    0   11   -3    3  -11    3    0   -5    0    0
     -12    0    0    0    0    7    0    0    3    0    0    0
      16    0    0    0    0  -18    0   -7    0    0   -1    0
      27    0  -16    0    0    0    0  -19    0    2    0    0
""")
"""That it is the bass the stretch starts with, per square root of a beat."""

SURROUNDINGS = _table("""
       6    7   -2   -6   -3   12   -3    1    6    3   15   -2
       0    7    7   -8   -5    6   -2    4   -6    5    7   -3
       8   -8    1    3   -4   14  -28    6   -6    4    2    0
       4    5   -4   -3    5    4    5    3   11   -4    9   -2
       0  -13    3   -2   -1   -1    3   -3   -2    5    0    9
      -2    9  -16   -4   -1   -2   -1   -7    4    3   -7    2
      -4    4  -10   -3  -11    1    1  -13   -6   -1    0  -13
      -8   16  -19    0    8   -7   11  -19   15    3   -8    1
      -1   -7    8  -12    5    3   -1    5  -10    4   -3   -2
       2  -16   10   -9    3    0    7    2   -9   10    0   -3
       4    7    0   -7    7    6   -9   -1   10    7   -4    1
""")
"""How loud it is in the surroundings (square root, loudest = 1), per beat."""

LENGTH = _table("""
       2    9   19
     -27    4   10
       1    8   13
      -8    3   21
     -21    1    8
     -25    9   19
     -29    4   12
     -28    2    4
     -51    1    5
     -44    2    2
     -47    3    2
""")
"""Of a stretch, whatever sounds: per beat, per square root of a beat, and once."""

PLACE = _table("""
      84   97  103  123  272  304
""")[0]
"""What a change costs by metrical strength: downbeat, half-bar, beat, half-beat, quarter, elsewhere."""

BASS_TURNS, CROWD = -0.01, -0.25
"""What it costs more (less, below 0) where the bass moves, and where as many notes start as anywhere."""

MOTION = _table("""
       7  -10  -10    0   -2    0   -1    3   -7   -2   -2   -4
       3    1   -9    0    0    2    0   -5    0    9    3    6
      45   -1  -11    0    4   -4   -2  -20   -2   -5   -3   -4
      -1    0    5    0   -3   -1    2   -1    0    3   -1    1
       0    0   -5   -2   -8    0   11   -1    0   -2    2   -8
      -1    0   -1    0   -1    6    0    3   -2   -2   -1    0
       0    6    5    4   -1    5    0   12   -1    0  -10   -1
       5    0    3    2   -1   -3    0    0   -1   -1   -4    0
      -2    0   -6   -3   -1   -1    0   -2   -1    0  -11    0
       8    0   -2    0    0   10    0   -3    0    0   -3    0
      -2   -1   -2   -1    2    0    3    0   -1   18    0    6
      -1    0    0    1   -1    4    0   -2    0    0    1    0
       0   -1    4   -2   -2   25   -1   -2   -3    1   -6    0
      -1    0   -1    0   -2   20    0   -7    0   -3   -4    0
       1    0   -5    0   -1    2   -1   -6   -2    0   -1   -2
      -1    0    3    0   -1    3    0   -4    0   -2   -1    0
       0    0   -3    0   -4    0    5    4    2   -4    0   -3
       1    0    0    0    0   -1    0    0    0    0    0    0
       0   -2   -3   -7    0   20    0    0   -7    0   -7   -1
      -1    0   -4    0    0   -1    0    1    0   -1    0    0
       3    0   -1   -1    0   11    0   -2   -1    0   -3    0
       0    0   -1    0    0    3    0   -1    0    0    0    0
       0    1    0    0    0    0    0   -3    0    6    0    0
       0    1    0    0    0    1    0    0    1    0   -1    0
       5   18   -1   -2   -3   10    3   -1   -3   -2   -9   -4
       0   19    0   -5   -1   -5   -1   -2   -2    0   -8   -1
      -1    0    0   -1    0   -4   -2    0    1    2   -1   -3
       1    1   -1   -3    0    0   -1    0    0    0   -1    0
       9   -2    0    0    1    2   -4    0    0    5    0   -1
       0    0    0    0    0    0    0    0    0    0   -1    0
       7    1   -2    0    1   -2    0   -2    1    0   -1    0
       2   -1    2    0    0    0    0   -2    0    2    0    0
       1    0    1    0    0    0    0   -2   -1    0    0    0
       0    0   -1    0   -1    0    0    0    0    0    0    0
       0    0    0    2    0   -1    0    0    0    0    0    2
       0    0    0    0    0    1    0    0    0    0    0    0
""")
"""For moving from a class (blocks of six rows) to a class (rows), by semitones the root rises (columns)."""

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
     135 -114  -93 -111   93  -71 -121   93 -119 -122  -80  -97
     122 -107  -87 -107   97 -114 -106   91 -121 -127 -109   33
     132 -120  -84   94 -118  -88 -125   91 -136 -157  -94 -115
     126 -111  -93 -114   97  -93 -103   83 -108 -112   39 -113
     134 -115  -98   92 -109  -98 -110   86 -126 -125   43 -102
     136 -106 -100  101 -108 -109   95 -115 -136 -103 -106 -111
     127  -89 -120   91 -116 -104   93 -108 -121 -127   53 -111
     117  -89 -112   99 -104 -100   93 -109 -118   64 -114 -114
     117 -109 -113 -110   98 -101 -108 -110   79 -111 -102 -112
     124 -109  -95 -119  -97   80 -110   89 -115 -107 -112 -112
     134 -110   78 -103 -102 -103 -112   89 -110 -113  -91 -124
""")
"""How long a pitch class sounds, per beat."""

PRESENCE = _table("""
      14  -12   17  -12    4   24  -11    9  -22  -24   11    0
       1    3   20    6    3    0    6    5  -10  -18    4   -9
      13  -17   23    1   -6   18  -17    7  -26  -52    3   -5
       8   -5    9   -7    8   13   -4   -1    0   -8    0   -2
       7   -1   19   -3    2   16   -1   -3  -19  -15   -5    9
      25    9    7    8    4    1   13   -7  -31   -2    4   -3
      12   21  -15    3  -12    8   12    4  -14  -19    4   -1
       5   15   -3   -3    8    7    3   -3   -5    9  -15   -8
      -2    1   -4    0    0    7    4    0   -4   -2    7   -1
       1    1   20  -11   15  -10    0    2   -6    6   -1   -2
       2    0  -13    8   11    8   -2   -2    1   -2   19  -15
""")
"""That it sounds at all: square root of its share of the stretch, per square root of a beat."""

BASS = _table("""
      60  -28    3  -27   20  -28  -43  -33  -15  -41  -19   -1
      51  -27  -23  -30   12  -30  -25   -2  -30  -33  -30   -6
      55  -37    9   20  -30  -35  -31  -33  -53  -33  -10  -20
      49  -21  -22  -35   20  -12  -41  -22  -32  -36   -4  -28
      64  -33  -28   17  -30  -23  -27  -15  -40  -34  -20  -31
      40  -24  -24   27  -28  -29  -32  -39  -24  -37  -26  -28
      47  -15  -31   18  -31  -28  -25  -30  -32  -36    1  -30
      36   -2  -30    8  -32  -25   -1  -29  -30    5  -33  -30
      40  -29  -29  -30   13  -21  -30  -30    3  -30  -30  -30
      79  -29  -30  -30  -30   -9  -30  -14  -27  -30  -29  -30
      78  -30   -2  -30  -30  -30  -30  -21  -30  -30  -30  -32
""")
"""How long it lies lowest, per beat."""

FIRST_BASS = _table("""
      -5   -1   15   -5    8   12    0  -13    1  -30    2   -8
       8    3    5    0    6    0    0   -8    0   -4    0   -3
       8  -14    6    1   -1    1   -3  -15  -22    5   -7    1
      -5   -2    9   -4    8   22    0  -22  -11   -8    5    3
       2    0   -1   14    0   13    0  -15  -10  -10   -7    0
     -15    5   10   26    7    9  -31   -9    8   -2    2    1
      -4   13    0    8    0   -1  -18    0   -4    0    0    0
     -18   25    0   14   -2    3  -11    3   -2   -3   -1    1
     -12    1    0    0   -1    7    0    0    4    0    0    0
      17    1    2    0    0  -14    0  -11    2    0    0    0
      20    0   -7    0    0    0    0  -21    0    0    0    0
""")
"""That it is the bass the stretch starts with, per square root of a beat."""

SURROUNDINGS = _table("""
       6    6   -2   -3   -3   10   -3    2    5    2   10    0
       1    3    5   -8   -4    4   -4    3  -10    3    4   -3
       9  -12    1    1   -7   13  -27    7   -8    3    0    3
       7    7   -1   -5    5    8    3    5   12   -2   12   -4
      -1  -15    4   -2   -1   -2    1   -2   -3    3    1    5
      -1   10  -14   -6   -2   -1   -1   -5    2    2   -8    4
      -3    3   -9   -4  -12    1    2  -15   -9    1   -1  -10
      -7   16  -20    0    8   -7   12  -19   14    3   -6    0
      -2   -6    7  -11    4    1    0    4  -10    3   -4   -2
      -1  -11    8  -10    2    0   13   -1   -8    9    1   -5
       3    8    0  -10    5    9  -14   -1    8    7   -2   -1
""")
"""How loud it is in the surroundings (square root, loudest = 1), per beat."""

LENGTH = _table("""
       2    7   13
     -27    1    6
       0    6   13
      -5    4    8
     -21    0    6
     -26    8   20
     -29    3   11
     -29    1    2
     -53    0    5
     -46    1    3
     -48    0   -3
""")
"""Of a stretch, whatever sounds: per beat, per square root of a beat, and once."""

PLACE = _table("""
      80   93  101  146  274  312
""")[0]
"""What a change costs by metrical strength: downbeat, half-bar, beat, half-beat, quarter, elsewhere."""

BASS_TURNS, CROWD = -0.01, -0.32
"""What it costs more (less, below 0) where the bass moves, and where as many notes start as anywhere."""

MOTION = _table("""
       8   -8  -12   -1    0   12   -1    3   -5   -2    0   -3
       6    0   -5    0    0   11    0   -4   -1    9    2    6
      14   -1   -3    1    4   -1    0  -15   -1   -2    0   -2
      -1    0    9    0   -3    0    1   -1    0    1   -1    0
       1   -1   -6   -3   -5    0   13   -2    1   -2    1   -6
       0    0   -1    0   -1    4    0    3   -2   -1   -1   -1
      -3    5    1    3    0    0    0    7    3    0  -14    0
       2    0    3    2    0   -2    0    2   -1   -2   -5    0
       2   -1   -5    2   -1    4    0    2   -1    0   -7    0
       3    0    0    0    0    9    0   -3    0    1   -3    0
      -3   -1   -2   -1    2   -1    2    0    0   17    0    5
      -1    0    0    1   -1    4    0   -2    0    0    1    0
      -1   -3    2   -3   -1   19    0   -4   -4    1   -4    0
      -1    0   -6    0   -3   15    0   -8    0   -3   -3    0
       1   -1   -1    0   -1    3    0   -4   -2    0   -1   -2
       0    0    3    0   -1    3    0   -3    0   -2    0    0
       0   -1   -2    0   -5    0    3    2    3   -4    0   -3
       1    0    0    0    0   -1    0    0    0    0    0    0
       1   -2   -4   -6    0   17    0    0   -5    0  -11   -1
      -2    0   -5    0    0   -2    0    2    0   -1   -2    0
       3    0    1    0    0   14    0   -2   -1    0   -2    0
       0    0   -1    0    0    3    0   -1    0    0    0    0
       0    1   -1    0    0    0    0   -2    0    6    0    0
       0    1    0    0    0    1    0    0    1    0   -1    0
       1   17   -1   -1   -4    7    4   -1   -1   -3   -8   -2
      -1   18    0   -4   -2   -5    0   -2   -1    0   -9    0
       3    4   -1   -2   -1    3   -2    0    4    1    0   -4
       1    1   -1   -3    0    0   -1    0   -1    0   -2    0
       6   -2    1    1    2    2   -5    0    0    7   -1    0
       0   -1    0   -1    0    0    0    0    0    0   -1    0
       5    1   -3    0    1    0    0   -3    0    0    1    0
       1   -1    1    0    0    0    0   -2    0    2    0    0
       1    0    1    0    0    0    0    0   -1    0    0    0
      -1    0    0    0    0    0    0    0    0    0    0    0
       0    0    0    2    0    0    0    0    0    0    0    2
       0    0    0    0    0    1    0    0    0    0    0    0
""")
"""For moving from a class (blocks of six rows) to a class (rows), by semitones the root rises (columns)."""

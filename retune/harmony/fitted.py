"""Tables of the finder fitted to human analyses: what speaks for each chord type, in hundredths of a point.

A large-margin fit (docs/harmony.md) on published analyses of chorales, madrigals, songs and preludes; fitted
to half of the pieces, the tables do as well on the other half. Nothing here depends on the key: every row is
relative to the root. Columns are semitones above the root, rows follow `TYPE_ORDER`.
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
     128 -109 -103 -109  100 -105 -120   97  -96 -118 -112 -109
     108 -106  -96 -108   96 -116 -100   97 -106 -115 -110   62
     138 -118  -87   93 -116  -87 -125   90 -147 -159  -85 -126
     133 -108  -83 -106   96  -99 -113   88 -124 -125   44 -109
     117 -112 -111   99 -108 -107 -110   92 -112 -109   55 -110
     139 -113 -116  103 -106 -115   97 -112 -132 -116 -104 -115
     129  -90 -113   93 -115  -96  102 -110 -114 -128   57 -110
     119  -88  -96  102 -103 -101   96 -105 -120   71 -111 -114
     119 -110 -112 -113  104 -110 -108 -110   92 -109 -110 -113
     129 -103  -96 -112 -107  100 -110   97 -122 -123 -114 -112
     119 -110   98 -110 -110 -110 -110   87 -110 -110 -109 -114
""")
"""How long a pitch class sounds, per beat."""

PRESENCE = _table("""
       5    2   10    0    3    3  -10    5   11   -9   -3    7
     -14    4   15    3   -1   -5   14    2    6   -6    1    7
      21   -9   28    7   -7   23  -17    8  -39  -55   12  -13
      19   -6   25    6   13   11  -11    4  -24  -24  -17   -3
      -9   -3   -2   -2    2    4    0   -2   -2    3   -2    0
      28    1   -8   10    7   -5   18    1  -27   -8    9   -8
      15   20   -4    2  -10   18   17   -1  -10  -22    7    1
      10   18    8    1   13    7    5    2   -7   13  -12  -11
      -5    0   -3   -3    1    0    3    0    0    1    0   -3
      10    5   15   -4    6   11    0   16  -18  -11   -2   -5
      -4    0   -1    0    0    0    0   -1    0    1    1   -4
""")
"""That it sounds at all: square root of its share of the stretch, per square root of a beat."""

BASS = _table("""
      53  -30  -27  -30   14  -28  -31    8  -12  -41  -30  -23
      34  -27  -26  -30   22  -30  -27   14  -30  -32  -30   -8
      61  -38   -5   26  -30  -32  -29  -33  -62  -39  -18  -38
      61  -19   -4  -19   27  -28  -43  -35  -35  -49    0    2
      53  -31  -32   21  -30  -31  -30   -6  -32  -30  -12  -30
      40  -29  -34   35  -26  -27  -31  -36  -23  -36  -32  -28
      47  -16  -30   25  -31  -26  -21  -30  -29  -36   -1  -30
      39   -3  -23    7  -37  -26   -1  -31  -34    4  -33  -26
      39  -30  -30  -30   23  -30  -30  -30    6  -30  -30  -30
      74  -24  -29  -30  -31   -1  -30  -26  -26  -31  -27  -30
      48  -30   14  -30  -30  -30  -30    3  -30  -30  -30  -31
""")
"""How long it lies lowest, per beat."""

FIRST_BASS = _table("""
       1    0   -1    0    6    3    0    2   13  -14    0    6
     -11    3    0    0   13    0    0   16    0   -5    0    3
      21  -14   -3    7   -1   -3    0  -25  -27   -5  -15   -1
       4    2   -3    6   15   12   -1  -32  -16  -30    2   -7
       0    0    0   10    0    0    0   -6    0    0   -9    0
     -18   -2   -3   34    5    5  -35   -6    0   -3   -5    1
       1   12    0    8    0    2  -13    0    0    0   -5    0
     -15   27   14   17   -8    2   -7    0  -10   -2   -1    4
     -13    0    0    0   12    0    0    0    2    0    0    0
      23    5    1    0   -3  -19    0  -21    3   -5    1    0
      -5    0    3    0    0    0    0    3    0    0    0    0
""")
"""That it is the bass the stretch starts with, per square root of a beat."""

SURROUNDINGS = _table("""
       7    2    3   10    1    6   -1    7   10   -3   10    1
       0    6    3   -1   -3    4   -2    2   -7    2    6    0
       9  -14   13    0   -1   11  -21    8   -3    4   -4    9
      14    5    7   -3    4   15   -3    7   13    5   17   -3
      -2   -3   -3   -2   -2   -1   -2   -1   -5    4   -1   -5
       3   13  -19   -3   -3    3    1   -7    6    2   -4   -2
       6    8   -5   -5  -12    4    0  -11   -9    4   -1  -11
      -7   18  -11    0   12   -5   15  -14   14    7   -8    5
       0   -3    3   -1    7   -2    1    7   -6    5   -4    1
       5   11  -15   -7    0    4   10   -2    5   -4    0   -3
      -2   -1   -2   -1    1    1   -1   -3   -1    1    0   -2
""")
"""How loud it is in the surroundings (square root, loudest = 1), per beat."""

LENGTH = _table("""
       5    5    6
     -26    2    6
       2   10   17
      -3    9   14
     -21   -2   -4
     -23   10   21
     -29    2   13
     -26    5    5
     -48    1    1
     -44   11   20
     -53   -1    1
""")
"""Of a stretch, whatever sounds: per beat, per square root of a beat, and once."""

PLACE = _table("""
      57   83  108  161  275  307
""")[0]
"""What a change costs by metrical strength: downbeat, half-bar, beat, half-beat, quarter, elsewhere."""

BASS_TURNS, CROWD = -0.07, -0.35
"""What it costs more (less, below 0) where the bass moves, and where as many notes start as anywhere."""

MOTION = _table("""
       0    1    0    0    0    1    0   -1    0    0    0    0
       2    0   -1    0   -2    2    0   -1    0    2    0    1
       6    0   -3    0    0   -2   -1   -1    0    0   -1   -4
       0    0    0    0    0    0    0    0    0   -1    0    0
       1   -1   -1   -1   -1    0   10   -1    0    0    0    0
       2    0    0    0    0    0    0    0    0    0    0    0
       2   -1   -1   -1    0   -1    0    3    2    0   -2    0
      17    0   -1    2    1   -2    0   -2    0   -4   -8    0
       8    2   -4   -2   -1   20    0   -6   -4   -2  -21   -1
       0    0    0    0    0   -1    0    0    0    0    0    0
      -2   -1   -2   -2    1    0    2   -3   -2   17    0    1
       1    0   -2    1   -1    5    0   12    0    0    0    0
       2   -1    0    0   -1    8    0    2   -1   -2   -2    0
       7    0    0    0   -1   19   -1  -10   -1    2   -1    3
      17   -8  -10   -3    0   15   -1  -12  -10   -6    0   -5
       0    0    0    0    0    0    0    0    0   -1    0    0
       5   -2   -5   -2   -7   -3   10   -3    2   -5    3   -5
       0    0   -5    0   -2   -2    0    6   -1    0    0   -3
       0    0    0    0    0    0    0    0   -1    0    2    0
       0    0    0    0    0    0    0   -1    0    0    0    0
       0    0    0    0    0    1    0    0   -1    0   -2    0
       0    0    1    0    0    0    0    0    0    0    1    0
       0    0    0    0    0    0    0    0    0    0    0    0
       0    0    0    0    0    1    0    0    0    0    0    0
       0    0    0    0    0    0    3   -1    0   -3   -1    0
       1   17    1   -8   -3   -5   -2   -1   -3    1   -9   -1
       4   20   -1   -4   -5    7    0    1    3    2  -10   -5
       0    0    0    0    0    0    0    0    0    0    0    0
      11   -2    1    1    2    2   -3   -1    0    5    0   -1
      -1   -1    0   -1    0    2    0   -1   -1    0   -1   -1
       0    0    0    0    0   -1    0    0    0    0    0    0
       4   -2    1    0    0   -4    0   -1    0    0   -2    1
      16    0   -1   -1    1   -4    0   -4   -2    0   -2    0
       0    0    0    0    0    0    0    0    0    0    0    0
       1    0   -1    2    0   -1    0    5    0    0    1    0
       0    0    0    0    0    0    0   -1    0    0    0    0
""")
"""For moving from a class (blocks of six rows) to a class (rows), by semitones the root rises (columns)."""

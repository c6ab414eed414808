"""Tables of the finder fitted to human analyses: what speaks for each chord type, in hundredths of a point.

A large-margin fit (docs/harmony.md) on published analyses of chorales, madrigals, songs and preludes; fitted to half
of the pieces, the tables do about as well on the other half. Nothing here depends on the key: every row is relative to
the root. Columns are semitones above the root.
"""

from __future__ import annotations

import numpy as np

from retune.score.model import FloatArray

TYPE_ORDER = ("dim", "aug", "maj", "min", "7", "min7", "min7b5", "sus4", "maj7", "dim7", "sus2")
"""Chord types in layers: one of each class, then a second and a third of those classes that have more."""
LAYERS = (6, 3, 2)
"""How many types in each layer; the n-th of a layer is of the n-th class. The classes: diminished, others (augmented
and suspended), major, minor, dominant, minor seventh."""


def _table(text: str) -> FloatArray:
    return np.array([line.split() for line in text.strip().splitlines()], dtype=np.float64) / 100.0


SOUND = _table("""
     140 -119  -94  102 -110 -112   96 -111 -143  -96  -98 -114
     113 -107 -114 -110   95  -97 -107 -110   75 -114  -99 -115
     136 -115  -91 -111   93  -69 -117   93 -123 -122  -76  -86
     132 -122  -86   93 -116  -88 -129   91 -137 -163  -90 -117
     124 -112  -93 -111   99  -91 -101   83 -114 -113   37 -114
     134 -116  -98   88 -109  -91 -110   86 -128 -127   38 -101
     128  -90 -122   84 -118 -104   89 -107 -117 -128   49 -111
     125 -110  -89 -117  -93   79 -110   94 -119 -108 -114 -110
     123 -106  -85 -105   95 -118 -101   90 -119 -125 -108   22
     112  -83 -114  102  -99  -99   98 -110 -105   67 -112 -118
     137 -110   74 -103  -95 -102 -112   87 -109 -112  -91 -127
""")
"""By type: how long a pitch class sounds, per beat."""

PRESENCE = _table("""
      28   21   -2    5    6    7   18    1  -30    2    3  -12
       0    2   -6    0   18   -5    1    0  -10    1   16  -14
      17  -10   24   -8    6   21   -2   10  -29  -28   13   -7
      16  -20   26    1   -4   19  -21    8  -27  -56   -1   -9
       9   -6    9   -7   11   14   -5    1   -9  -11    1   -4
       8   -2   21   -3    1   20   -1   -1  -23  -19   -6   11
""")
"""By class: that it sounds at all, square root of its share of the stretch, per square root of a beat."""

BASS = _table("""
      30  -33  -18   32  -29  -32  -40  -37  -22  -33  -20  -30
      32  -28  -29  -30   14  -18  -30  -30    8  -30  -30  -30
      56  -26    7  -27   17  -30  -43  -31  -10  -44   -9   12
      61  -36   13   12  -29  -40  -31  -32  -61  -32   -5  -20
      43  -20  -19  -34   19  -10  -44  -22  -35  -31   -3  -27
      63  -37  -28   15  -31  -19  -26  -17  -41  -34  -30  -31
      49  -11  -31   14  -31  -27  -24  -30  -33  -38    1  -30
      82  -30  -30  -30  -30  -14  -30  -15  -29  -30  -30  -30
      53  -26  -20  -30    3  -31  -23    2  -30  -31  -30  -13
      32    2  -31    9  -29  -23    9  -30  -24    2  -33  -32
      89  -30   -7  -30  -30  -30  -30  -25  -30  -30  -30  -31
""")
"""By type: how long it lies lowest, per beat."""

FIRST_BASS = _table("""
      -2   10  -30   -1
""")[0]
"""That the bass the stretch starts with is the root, the third (second, fourth), the fifth, the seventh, per square
root of a beat."""

FIRST_BASS_OTHER = _table("""
       0   16   20   -3    2   19   -2   -3  -18  -23   -4   -1
""")[0]
"""The same of a bass that is no chord tone, by semitones above the root."""

SURROUNDINGS = _table("""
      -9   17  -26   -6   -1   -7    7  -25    6    8  -10   -5
       0   -9    4  -16    2    6   -3   -1   -4   11   -2   -6
       6    5   -3   -7   -4   11   -5    3    1    2    9   -3
       7   -9    2    2   -9   11  -27    6   -7    1   -1    2
       8    5    2   -6    3   10    2    4   11   -2   11  -11
       1  -19    6   -3    1   -2   -4   -1    0    4    1    7
""")
"""By class: how loud it is in the surroundings (square root, loudest = 1), per beat."""

LENGTH = _table("""
     -27   10   24
     -56   -2    4
       2    7   14
       0    7   15
      -6    3    9
     -20    2   10
     -33    0   12
     -46    0    0
     -28    0    6
     -21    2   -4
     -46    2   -2
""")
"""By type: of a stretch, whatever sounds: per beat, per square root of a beat, and once."""

PLACE = _table("""
      83   94  103  149  272  311
""")[0]
"""What a change costs by metrical strength: downbeat, half-bar, beat, half-beat, quarter, elsewhere."""

BASS_TURNS, CROWD = -0.02, -0.32
"""What it costs more (less, below 0) where the bass moves, and where as many notes start as anywhere."""

MOTION = _table("""
       4   -3   -4   -2   -3    0   12   -2    4   13    0   -5
      -1    0   -1   -1   -2    6    0    1    0   -1    0   -1
       6   12  -10   -2   -2   19    2    3   -2   -4  -17   -6
       5   15   -5   -3   -3   11    1   -5   -3    7  -12    5
      17    1   -3    0    2   13   -2  -10   -1   -2   -8   -5
       1    1    7   -3   -1   11    0   -6   -1    0   -6   -1
""")
"""By class: for coming to it, by semitones the root rises."""
